// SPDX-License-Identifier: Apache-2.0
#include "pictures/hole_marks.hpp"

#include "core/text.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {
namespace {

Point on_ray(const HoleRecord& hole, double angle_deg, double radius_px) {
    const double a = angle_deg * std::numbers::pi / 180;
    return {hole.x_px + radius_px * std::cos(a), hole.y_px - radius_px * std::sin(a)};
}

double bore_radius(const HoleRecord& hole) {
    return hole.bore_px ? hole.bore_px.value() / 2 : 0;
}

/// From the contour to the outside of the plating.
double plating_px(const HoleRecord& hole) {
    return hole.drill_px && hole.bore_px ? std::max(0.0, (hole.drill_px.value() - hole.bore_px.value()) / 2)
                                         : 0;
}

/// Radius of the air's boundary at an angle: the contour between its two nearest points, else the fitted
/// circle.
double contour_radius(const HoleRecord& hole, double angle_deg) {
    const auto& contour = hole.contour;
    if (contour.empty()) return bore_radius(hole);
    const auto after =
        std::upper_bound(contour.begin(), contour.end(), angle_deg,
                         [](double angle, const ContourPoint& point) { return angle < point.angle_deg; });
    const ContourPoint& right = after == contour.end() ? contour.front() : *after;
    const ContourPoint& left = after == contour.begin() ? contour.back() : *(after - 1);
    const auto turn = [](double deg) { return deg - 360 * std::floor(deg / 360); };
    const double span = turn(right.angle_deg - left.angle_deg), way = turn(angle_deg - left.angle_deg);
    const double share = span > 0 ? way / span : 0;
    return left.radius_px + (right.radius_px - left.radius_px) * share;
}

/// Where gaps are counted from: the drilled wall, for a hole out of round the boundary that was found.
double wall_radius(const HoleRecord& hole, double angle_deg) {
    const double air =
        hole.shape.state == HoleShape::out_of_round ? contour_radius(hole, angle_deg) : bore_radius(hole);
    return air + plating_px(hole);
}

using Radius = double (*)(const HoleRecord&, double);

std::vector<Point> arc_points(const HoleRecord& hole, const OverlayLayout& layout, Arc arc, Radius radius,
                              double beyond_px) {
    double sweep = arc.to_deg - arc.from_deg;
    if (sweep <= 0) sweep += 360;
    const int steps = std::max(2, static_cast<int>(std::ceil(sweep / 3)));
    std::vector<Point> points;
    for (int i = 0; i <= steps; ++i) {
        double angle = arc.from_deg + sweep * i / steps;
        angle -= 360 * std::floor(angle / 360);
        points.push_back(layout.at(on_ray(hole, angle, radius(hole, angle) + beyond_px)));
    }
    return points;
}

void draw_arcs(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole,
               const std::vector<Arc>& arcs, LineStyle style, double width, double beyond_px, Colour colour) {
    for (const auto& arc : arcs) {
        canvas.line(arc_points(hole, layout, arc, wall_radius, beyond_px), false, style, width, colour);
    }
}

void draw_wall(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole) {
    if (hole.kind == HoleKind::filled || (!hole.bore_px && hole.contour.empty())) return;
    const double width = hole.kind == HoleKind::via ? layout.line * 0.7 : layout.line;
    canvas.line(arc_points(hole, layout, {0, 360}, contour_radius, 0), true, style_of(hole.wall.state), width,
                palette::wall);
}

/// A filled or unmeasured hole: a cross where it is, so that nobody takes it for missed.
void draw_cross(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole) {
    if (hole.kind != HoleKind::filled && hole.bore_px) return;
    const double arm = std::max(4 * layout.line / layout.zoom, bore_radius(hole) * 0.6);
    for (const double angle : {45.0, 135.0}) {
        canvas.line({layout.at(on_ray(hole, angle, arm)), layout.at(on_ray(hole, angle + 180, arm))}, false,
                    LineStyle::solid, layout.line, palette::wall);
    }
}

/// The ring's outer edge where a gap was measured; breaks where it was not.
void draw_ring(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole) {
    const auto& profile = hole.keepout.profile;
    const std::size_t count = profile.size();
    std::size_t start = 0; // begin behind a break, so that a run over 0 degrees stays whole
    while (start < count && profile[start].gap_px)
        ++start;
    const bool whole = count > 0 && start == count;
    std::vector<Point> run;
    for (std::size_t i = 0; i < count; ++i) {
        const GapRecord& gap = profile[(start + i) % count];
        if (gap.gap_px)
            run.push_back(
                layout.at(on_ray(hole, gap.angle_deg, wall_radius(hole, gap.angle_deg) + *gap.gap_px)));
        if (gap.gap_px && i + 1 < count) continue;
        canvas.line(run, whole, LineStyle::solid, layout.line * 0.8, palette::ring);
        run.clear();
    }
}

/// A bar across the ring at its narrowest, with a foot at either end.
void draw_narrowest(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole) {
    const KeepOutRecord& keepout = hole.keepout;
    if (keepout.state != KeepOutState::ring_seen || !keepout.min_px || !keepout.min_angle_deg) return;
    const double from = wall_radius(hole, *keepout.min_angle_deg), to = from + keepout.min_px.value();
    const double foot = std::max(3.0 * layout.line / layout.zoom, 2.0);
    const double a = *keepout.min_angle_deg * std::numbers::pi / 180;
    canvas.line({layout.at(on_ray(hole, *keepout.min_angle_deg, from)),
                 layout.at(on_ray(hole, *keepout.min_angle_deg, to))},
                false, LineStyle::solid, layout.line * 1.2, palette::ring);
    for (const double radius : {from, to}) {
        const Point p = on_ray(hole, *keepout.min_angle_deg, radius);
        const Point side{std::sin(a) * foot, std::cos(a) * foot};
        canvas.line({layout.at({p.x - side.x, p.y - side.y}), layout.at({p.x + side.x, p.y + side.y})}, false,
                    LineStyle::solid, layout.line * 1.2, palette::ring);
    }
}

std::string mm_or_px(const Estimate& mm, const Estimate& px) {
    if (mm) return fixed(mm.value(), 3) + " ±" + fixed(2 * mm.u(), 3) + " mm";
    if (px) return fixed(px.value(), 2) + " ±" + fixed(2 * px.u(), 2) + " px";
    return {};
}

} // namespace

LineStyle style_of(WallState wall) {
    switch (wall) {
    case WallState::plated:
        return LineStyle::solid;
    case WallState::bare:
        return LineStyle::dashed;
    case WallState::incomplete:
        return LineStyle::dash_dot;
    case WallState::undecided:
        return LineStyle::dotted;
    }
    return LineStyle::dotted;
}

double outer_radius(const HoleRecord& hole) {
    double radius = std::max(bore_radius(hole) + plating_px(hole), 2.0);
    for (const auto& point : hole.contour)
        radius = std::max(radius, point.radius_px);
    // A ring that wanders far off on one side keeps labels away only near the hole.
    const double most = 3 * radius;
    for (const auto& gap : hole.keepout.profile) {
        if (gap.gap_px)
            radius = std::max(radius, std::min(most, wall_radius(hole, gap.angle_deg) + *gap.gap_px));
    }
    return radius;
}

void draw_marks(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole) {
    draw_wall(canvas, layout, hole);
    draw_cross(canvas, layout, hole);
    if (hole.kind == HoleKind::via) return;
    draw_ring(canvas, layout, hole);
    draw_narrowest(canvas, layout, hole);
    const double off = 1.5 * layout.line / layout.zoom;
    draw_arcs(canvas, layout, hole, hole.keepout.runs_on_arcs_deg, LineStyle::dashed, layout.line * 1.6,
              2 * off, palette::contact);
    draw_arcs(canvas, layout, hole, hole.keepout.touching_arcs_deg, LineStyle::solid, layout.line * 2.6, off,
              palette::contact);
    draw_arcs(canvas, layout, hole, hole.hidden_arcs_deg, LineStyle::dotted, layout.line, 4 * off,
              palette::hidden);
}

std::string bore_text(const HoleRecord& hole) {
    if (hole.kind == HoleKind::filled) return "filled";
    const std::string text = mm_or_px(hole.bore_mm, hole.bore_px);
    const std::string kind = hole.kind == HoleKind::slot ? "slot " : "";
    return kind + (text.empty() ? "not measured" : "Ø" + text);
}

std::string keepout_text(const HoleRecord& hole) {
    if (!hole.bore_px && hole.keepout.state == KeepOutState::undecided) return {}; // said of the bore already
    switch (hole.keepout.state) {
    case KeepOutState::ring_seen:
        return "keep-out " + mm_or_px(hole.keepout.min_mm, hole.keepout.min_px);
    case KeepOutState::touching:
        return "copper at the wall";
    case KeepOutState::runs_on:
        return "own copper runs on";
    case KeepOutState::none_in_view:
        return "no copper in view";
    case KeepOutState::undecided:
        return "keep-out undecided";
    }
    return {};
}

Colour keepout_colour(const HoleRecord& hole) {
    switch (hole.keepout.state) {
    case KeepOutState::touching:
    case KeepOutState::runs_on:
        return palette::contact;
    case KeepOutState::undecided:
        return palette::hidden;
    default:
        return palette::ring;
    }
}

} // namespace ringwall
