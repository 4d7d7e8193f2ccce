// SPDX-License-Identifier: Apache-2.0
#include "pictures/hole_marks.hpp"

#include "core/text.hpp"

#include <algorithm>
#include <array>
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

} // namespace

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

double wall_radius(const HoleRecord& hole, double angle_deg) {
    const double air =
        hole.shape.state == HoleShape::out_of_round ? contour_radius(hole, angle_deg) : bore_radius(hole);
    return air + plating_px(hole);
}

bool apart(double a_px, double b_px) {
    // Straight sides of a triangle, the steepest shape, change by 0.03 of the radius a degree.
    return std::abs(a_px - b_px) > std::max(3.0, 0.06 * std::min(a_px, b_px));
}

namespace {

/// Half the length of a cross's arms.
double cross_arm(const HoleRecord& hole, const OverlayLayout& layout) {
    return std::max(4 * layout.line / layout.zoom, bore_radius(hole) * 0.6);
}

bool has_cross(const HoleRecord& hole) {
    return hole.kind == HoleKind::filled || !hole.bore_px;
}

double sweep_of(const Arc& arc) {
    const double sweep = arc.to_deg - arc.from_deg;
    return sweep <= 0 ? sweep + 360 : sweep;
}

using Radius = double (*)(const HoleRecord&, double);

std::vector<Point> arc_points(const HoleRecord& hole, const OverlayLayout& layout, Arc arc, Radius radius,
                              double beyond_px) {
    const double sweep = sweep_of(arc);
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
    if (!has_cross(hole)) return;
    const double arm = cross_arm(hole, layout);
    for (const double angle : {45.0, 135.0}) {
        canvas.line({layout.at(on_ray(hole, angle, arm)), layout.at(on_ray(hole, angle + 180, arm))}, false,
                    LineStyle::solid, layout.line, palette::wall);
    }
}

/// Mean of the picture over a patch of a ring: from and to a radius, a few degrees wide. None: outside the
/// picture.
std::optional<double> level_of(const HoleRecord& hole, ImageView<const float> t, double angle_deg,
                               double half_deg, std::array<double, 2> radii) {
    double sum = 0;
    int count = 0;
    for (double radius = radii[0]; radius <= radii[1]; radius += 1) {
        for (double turn = -half_deg; turn <= half_deg; turn += 1) {
            const Point p = on_ray(hole, angle_deg + turn, radius);
            const auto x = static_cast<int>(std::lround(p.x)), y = static_cast<int>(std::lround(p.y));
            if (x < 0 || y < 0 || x >= t.width() || y >= t.height() || !std::isfinite(t(x, y))) continue;
            sum += static_cast<double>(t(x, y));
            ++count;
        }
    }
    return count > 0 ? std::optional(sum / count) : std::nullopt;
}

std::optional<double> air_level(const HoleRecord& hole, ImageView<const float> t) {
    return level_of(hole, t, 0, 180, {0, bore_radius(hole) / 2});
}

/// Right behind the ring's line, beyond the blur of its edge.
std::optional<double> level_behind(const HoleRecord& hole, const GapRecord& gap, ImageView<const float> t) {
    const double line = wall_radius(hole, gap.angle_deg) + *gap.gap_px;
    return level_of(hole, t, gap.angle_deg, 3, {line + 3, line + 7});
}

/// Half-way through the ring, the median over all directions: laminate, or darker where the ring is narrow.
std::optional<double> ring_level(const HoleRecord& hole, ImageView<const float> t) {
    std::vector<double> levels;
    for (const auto& gap : hole.keepout.profile) {
        if (!gap.gap_px) continue;
        const double wall = wall_radius(hole, gap.angle_deg);
        const double near = wall + *gap.gap_px / 2;
        if (const auto level = level_of(hole, t, gap.angle_deg, 2, {near - 1, near + 1}))
            levels.push_back(*level);
    }
    if (levels.empty()) return std::nullopt;
    const auto middle = levels.begin() + static_cast<std::ptrdiff_t>(levels.size() / 2);
    std::nth_element(levels.begin(), middle, levels.end());
    return *middle;
}

/// Radius of the ring's line, where a gap was measured.
std::optional<double> ring_radius(const HoleRecord& hole, std::size_t direction) {
    const auto& profile = hole.keepout.profile;
    const GapRecord& gap = profile[direction % profile.size()];
    if (!gap.gap_px) return std::nullopt;
    return wall_radius(hole, gap.angle_deg) + *gap.gap_px;
}

/// No line leads from the direction before to this one.
bool breaks_before(const HoleRecord& hole, std::size_t direction) {
    const auto here = ring_radius(hole, direction),
               before = ring_radius(hole, direction + hole.keepout.profile.size() - 1);
    return !here || !before || apart(*here, *before);
}

/// The ring's outer edge where a gap was measured; breaks where it was not, and where it jumps.
void draw_ring(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole) {
    const auto& profile = hole.keepout.profile;
    const std::size_t count = profile.size();
    std::size_t start = 0; // begin behind a break, so that a run over 0 degrees stays whole
    while (start < count && !breaks_before(hole, start))
        ++start;
    const bool whole = count > 0 && start == count;
    std::vector<Point> run;
    const auto draw = [&] { // of two directions: a dot, which looks like dirt
        if (run.size() >= 3) canvas.line(run, whole, LineStyle::solid, layout.line * 0.8, palette::ring);
        run.clear();
    };
    for (std::size_t i = start; i < start + count; ++i) {
        if (!whole && breaks_before(hole, i)) draw();
        if (const auto r = ring_radius(hole, i))
            run.push_back(layout.at(on_ray(hole, profile[i % count].angle_deg, *r)));
    }
    draw();
}

/// A bar across the ring at its narrowest, with a foot at either end.
void draw_narrowest(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole) {
    const KeepOutRecord& keepout = hole.keepout;
    const bool has_number =
        keepout.state == KeepOutState::ring_seen || keepout.state == KeepOutState::runs_on;
    if (!has_number || !keepout.min_px || !keepout.min_angle_deg) return;
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
    if (mm) return with_expanded_u(mm, 3) + " mm";
    if (px) return with_expanded_u(px, 2) + " px";
    return {};
}

/// Makes the outline at least `to` wide along an arc.
void reach_out(std::vector<double>& outline, const Arc& arc, double to) {
    const double step_deg = 360.0 / static_cast<double>(outline.size());
    const auto first = static_cast<std::size_t>(std::lround(arc.from_deg / step_deg));
    const auto steps = static_cast<std::size_t>(std::lround(sweep_of(arc) / step_deg));
    for (std::size_t i = first; i <= first + steps; ++i) {
        double& radius = outline[i % outline.size()];
        radius = std::max(radius, to);
    }
}

constexpr std::size_t outline_steps = 180;

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

HoleRecord shown_part(const HoleRecord& hole, ImageView<const float> t) {
    constexpr double dot_deg = 3;
    HoleRecord shown = hole;
    std::erase_if(shown.hidden_arcs_deg, [](const Arc& arc) { return sweep_of(arc) < dot_deg; });
    if (hole.kind == HoleKind::via || !hole.bore_px) return shown;
    const auto air = air_level(hole, t), laminate = ring_level(hole, t);
    if (!air || !laminate || !(*air > *laminate)) return shown;
    const auto& profile = hole.keepout.profile;
    for (std::size_t i = 0; i < profile.size(); ++i) {
        if (!profile[i].gap_px) continue;
        const auto behind = level_behind(hole, profile[i], t);
        if (!behind || *behind > (*air + *laminate) / 2) shown.keepout.profile[i].gap_px.reset();
    }
    return shown;
}

double hole_radius(const HoleRecord& hole) {
    double radius = std::max(bore_radius(hole) + plating_px(hole), 2.0);
    for (const auto& point : hole.contour)
        radius = std::max(radius, point.radius_px);
    return radius;
}

std::vector<double> outline(const HoleRecord& hole, const OverlayLayout& layout) {
    const double wall = hole_radius(hole);
    std::vector<double> radius(outline_steps,
                               has_cross(hole) ? std::max(wall, cross_arm(hole, layout)) : wall);
    if (hole.kind == HoleKind::via) return radius;
    const double beside = wall + 6 * layout.line / layout.zoom; // the arcs beside the wall, see draw_marks
    for (const auto* arcs :
         {&hole.keepout.runs_on_arcs_deg, &hole.keepout.touching_arcs_deg, &hole.hidden_arcs_deg})
        for (const auto& arc : *arcs)
            reach_out(radius, arc, beside);
    // What lies further off on one side keeps labels away only near the hole.
    const double most = 4 * wall;
    const auto& profile = hole.keepout.profile;
    for (std::size_t i = 0; i < profile.size(); ++i) {
        if (breaks_before(hole, i) && breaks_before(hole, i + 1)) continue; // no line is drawn there
        const double ring = std::min(most, *ring_radius(hole, i));
        reach_out(radius, {profile[i].angle_deg, profile[i].angle_deg + 1e-6}, ring);
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
        if (!hole.keepout.min_px) return "own copper runs on";
        return "runs on; keep-out " + mm_or_px(hole.keepout.min_mm, hole.keepout.min_px);
    case KeepOutState::none_in_view:
        return "no other copper in view";
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
