// SPDX-License-Identifier: Apache-2.0
#include "core/arcs.hpp"
#include "core/text.hpp"
#include "pictures/hole_figures.hpp"
#include "pictures/hole_marks.hpp"
#include "pictures/scale_bar.hpp"
#include "pictures/vector_canvas.hpp"
#include "record/position.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {
namespace {

constexpr double side = 244; ///< points: 86 mm on the page
constexpr double text = 8;

/// What lies beyond the wall in one direction.
enum class Beyond { copper, own, unseen, nothing };

/// The hole in mm from its centre, y down, and how it is laid on the page.
struct View {
    const HoleRecord* hole = nullptr;
    double mm_per_px = 0, pt_per_mm = 1, half_mm = 1;
    [[nodiscard]] Point at(double x_mm, double y_mm) const {
        return {side / 2 + x_mm * pt_per_mm, side / 2 + y_mm * pt_per_mm};
    }
    [[nodiscard]] Point at_angle(double angle_deg, double radius_mm) const {
        const double a = angle_deg * std::numbers::pi / 180;
        return at(radius_mm * std::cos(a), -radius_mm * std::sin(a));
    }
    [[nodiscard]] double wall_mm(double angle_deg) const { return wall_radius(*hole, angle_deg) * mm_per_px; }
};

double wanted_half_mm(const HoleRecord& hole, const Screw& screw, double mm_per_px) {
    const ScrewFit& fit = *hole.screw;
    const double off = std::max(0.0, drawn_reach_mm(fit) - screw.major_mm / 2);
    const double hardware = std::max({screw.head_mm.value_or(0), screw.washer_mm.value_or(0)}) / 2 + off;
    const double ring = (hole_radius(hole) + hole.keepout.min_px.value_or(0)) * mm_per_px;
    const double wanted = std::max({1.15 * hardware, 1.35 * ring, 1.3 * drawn_reach_mm(fit)});
    return std::min(wanted, 3 * ring); // a very wide washer leaves through the edge
}

Beyond beyond(const HoleRecord& hole, const GapRecord& gap) {
    for (const auto& arc : hole.keepout.touching_arcs_deg)
        if (contains(arc, gap.angle_deg)) return Beyond::copper;
    if (gap.gap_px) return Beyond::copper;
    if (gap.why == "own") return Beyond::own;
    return gap.why == "none" ? Beyond::nothing : Beyond::unseen;
}

Colour colour_of(Beyond what) {
    return what == Beyond::copper ? print_palette::copper
                                  : (what == Beyond::own ? print_palette::own : print_palette::unseen);
}

/// Where in this direction what is coloured begins, mm from the centre.
double edge_mm(const View& view, const GapRecord& gap) {
    return view.wall_mm(gap.angle_deg) + gap.gap_px.value_or(0) * view.mm_per_px;
}

/// Copper as seen, stretch by stretch of equal kind.
void draw_surroundings(VectorCanvas& canvas, const View& view) {
    const auto& profile = view.hole->keepout.profile;
    const double far = 1.5 * view.half_mm;
    for (std::size_t i = 0; i < profile.size();) {
        const Beyond what = beyond(*view.hole, profile[i]);
        std::size_t end = i;
        std::vector<Point> edge, outside;
        while (end < profile.size() && beyond(*view.hole, profile[end]) == what) {
            const double from = std::min(edge_mm(view, profile[end]), far), a = profile[end].angle_deg;
            for (const double half : {-0.5, 0.5}) {
                edge.push_back(view.at_angle(a + half, from));
                outside.push_back(view.at_angle(a + half, far));
            }
            ++end;
        }
        i = end;
        if (what == Beyond::nothing) continue;
        if (what == Beyond::copper) canvas.line(edge, false, LineStyle::solid, 0.9, print_palette::ring);
        edge.insert(edge.end(), outside.rbegin(), outside.rend());
        canvas.fill({edge}, colour_of(what));
    }
}

void draw_hole(VectorCanvas& canvas, const View& view) {
    std::vector<Point> air, wall;
    for (int a = 0; a < 360; a += 2) {
        air.push_back(view.at_angle(a, contour_radius(*view.hole, a) * view.mm_per_px));
        wall.push_back(view.at_angle(a, view.wall_mm(a)));
    }
    const WallState state = view.hole->wall.state;
    if (state == WallState::plated || state == WallState::incomplete)
        canvas.fill({air, wall}, print_palette::own);
    const double own_mm = view.hole->keepout.own_outer_mm.value_or(0);
    if (own_mm > 0) {
        std::vector<Point> land;
        for (int a = 0; a < 360; a += 2)
            land.push_back(view.at_angle(a, std::max(own_mm, view.wall_mm(a))));
        canvas.fill({wall, land}, print_palette::own);
    }
    canvas.line(wall, true, LineStyle::solid, 0.6, print_palette::wall);
    canvas.line(air, true, style_of(state), 1.2, print_palette::wall);
    if (own_mm > 0)
        canvas.circle(view.at(0, 0), own_mm * view.pt_per_mm, LineStyle::solid, 0.6, print_palette::contact);
}

void draw_screw(VectorCanvas& canvas, const View& view, const Screw& screw) {
    const ScrewFit& fit = *view.hole->screw;
    const double off = drawn_reach_mm(fit) - screw.major_mm / 2;
    const double angle = drawn_angle_deg(*view.hole).value_or(0);
    const Point centre = view.at_angle(angle, std::max(0.0, off));
    const auto circle = [&](double mm, LineStyle style, double line_width, Colour colour) {
        canvas.circle(centre, mm / 2 * view.pt_per_mm, style, line_width, colour);
    };
    canvas.fill_circle(centre, screw.major_mm / 2 * view.pt_per_mm, print_palette::metal);
    circle(screw.major_mm, LineStyle::solid, 1, print_palette::ink);
    if (screw.minor_mm > 0) circle(screw.minor_mm, LineStyle::dotted, 0.7, print_palette::ink);
    if (screw.head_mm) circle(*screw.head_mm, LineStyle::dashed, 0.8, print_palette::ink);
    if (screw.washer_mm) circle(*screw.washer_mm, LineStyle::dash_dot, 0.8, print_palette::ink);
    canvas.line({{centre.x - 3, centre.y}, {centre.x + 3, centre.y}}, false, LineStyle::solid, 0.6,
                print_palette::ink);
    canvas.line({{centre.x, centre.y - 3}, {centre.x, centre.y + 3}}, false, LineStyle::solid, 0.6,
                print_palette::ink);
}

/// What the metal reaches whichever way the screw is pushed.
void draw_reach(VectorCanvas& canvas, const View& view) {
    const ScrewFit& fit = *view.hole->screw;
    canvas.circle(view.at(0, 0), drawn_reach_mm(fit) * view.pt_per_mm, LineStyle::dashed, 0.9,
                  print_palette::contact);
    if (fit.required_mm && *fit.required_mm > 0)
        canvas.circle(view.at(0, 0), (drawn_reach_mm(fit) + *fit.required_mm) * view.pt_per_mm,
                      LineStyle::dash_dot, 0.9, print_palette::contact);
}

void draw_bar(VectorCanvas& canvas, const View& view) {
    const double mm = round_length(0.3 * side / view.pt_per_mm), length = mm * view.pt_per_mm;
    const double x = 8, y = side - 9;
    canvas.fill({{{x - 4, y - 9}, {x + length + 34, y - 9}, {x + length + 34, y + 5}, {x - 4, y + 5}}},
                Colour{255, 255, 255, 0.85});
    canvas.line({{x, y - 3}, {x, y + 3}}, false, LineStyle::solid, 0.9, print_palette::ink);
    canvas.line({{x, y}, {x + length, y}}, false, LineStyle::solid, 0.9, print_palette::ink);
    canvas.line({{x + length, y - 3}, {x + length, y + 3}}, false, LineStyle::solid, 0.9, print_palette::ink);
    canvas.text({x + length + 4, y + 3}, shortest(mm) + " mm", text, VectorCanvas::Anchor::start,
                print_palette::ink);
}

} // namespace

std::string screw_view_svg(const HoleRecord& hole, const std::optional<Screw>& screw) {
    const bool has_scale = hole.bore_mm && hole.bore_px && hole.bore_px.value() > 0;
    if (!hole.screw || !screw || !(screw->major_mm > 0) || !has_scale) return {};
    View view;
    view.hole = &hole;
    view.mm_per_px = hole.bore_mm.value() / hole.bore_px.value();
    view.half_mm = wanted_half_mm(hole, *screw, view.mm_per_px);
    view.pt_per_mm = side / (2 * view.half_mm);
    VectorCanvas canvas(side, side);
    canvas.clip(0, 0, side, side);
    draw_surroundings(canvas, view);
    draw_hole(canvas, view);
    draw_screw(canvas, view, *screw);
    draw_reach(canvas, view);
    draw_bar(canvas, view);
    canvas.end_clip();
    canvas.line({{0.3, 0.3}, {side - 0.3, 0.3}, {side - 0.3, side - 0.3}, {0.3, side - 0.3}}, true,
                LineStyle::solid, 0.5, print_palette::faint);
    return canvas.svg();
}

} // namespace ringwall
