// SPDX-License-Identifier: Apache-2.0
#include "core/arcs.hpp"
#include "pictures/axis.hpp"
#include "pictures/hole_figures.hpp"
#include "pictures/hole_marks.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {
namespace {

constexpr int width = 1340, height = 300; ///< canvas pixels; printed 176 mm wide
constexpr double left = 124, right = 30, top = 12, bottom = 44, text = 20, line = 3;
constexpr Colour ink{30, 32, 36};

/// The figure's frame: angle across, radius down.
struct Frame {
    double wall_px, from_px, to_px, unit_per_px; ///< radii; wall: of the fitted circle, plating included
    std::string unit;

    [[nodiscard]] Point at(double angle_deg, double radius_px) const {
        return {left + (width - left - right) * angle_deg / 360,
                top + (height - top - bottom) * (radius_px - from_px) / (to_px - from_px)};
    }
    [[nodiscard]] double y_of(double beyond_units) const {
        return at(0, wall_px + beyond_units / unit_per_px).y;
    }
};

Frame frame_of(const BoardRecord& record, const HoleRecord& hole) {
    const auto source = static_cast<std::size_t>(hole.source);
    const double mm = source < record.sources.size() ? record.sources[source].pixel_mm.value_or(0) : 0;
    const double drill = std::max(hole.bore_px.value_or(0), hole.drill_px.value_or(0)) / 2;
    const double wall = drill > 0 ? drill : hole_radius(hole);
    return {wall, 0.6 * wall, hole_radius(hole) + shown_beyond_px(hole), mm > 0 ? mm : 1,
            mm > 0 ? "mm" : "px"};
}

void paint(Canvas& canvas, ImageView<const float> t, GreyRange range, const HoleRecord& hole,
           const Frame& frame) {
    const auto pixels = canvas.pixels();
    for (int y = 0; y < height; ++y)
        std::fill_n(pixels.row(y), width, 0xFFFFFFFFU);
    const int x0 = static_cast<int>(left), x1 = width - static_cast<int>(right);
    const int y0 = static_cast<int>(top), y1 = height - static_cast<int>(bottom);
    const FigureGrey grey(range);
    std::vector<Point> ways(static_cast<std::size_t>(x1 - x0)); // from the centre outward, one a column
    for (int x = x0; x < x1; ++x) {
        const double a = 2 * std::numbers::pi * (x + 0.5 - x0) / (x1 - x0);
        ways[static_cast<std::size_t>(x - x0)] = {std::cos(a), std::sin(a)};
    }
    for (int y = y0; y < y1; ++y) {
        const double radius = frame.from_px + (frame.to_px - frame.from_px) * (y + 0.5 - y0) / (y1 - y0);
        for (int x = x0; x < x1; ++x) {
            const Point way = ways[static_cast<std::size_t>(x - x0)];
            const Point px{hole.x_px + radius * way.x, hole.y_px - radius * way.y};
            const bool inside =
                px.x > -0.5 && px.y > -0.5 && px.x < t.width() - 0.5 && px.y < t.height() - 0.5;
            pixels(x, y) = inside ? grey.of(value_at(t, px)) : 0xFF1C1E24U;
        }
    }
}

/// A line over all angles at the radius of a function, broken where it gives none or jumps.
template<typename Radius>
void draw_over_angles(Canvas& canvas, const Frame& frame, LineStyle style, double line_width, Colour colour,
                      const Radius& radius) {
    std::vector<Point> run;
    double before = 0;
    for (int angle = 0; angle <= 361; ++angle) {
        const std::optional<double> r = angle <= 360 ? radius(angle % 360) : std::nullopt;
        const bool inside = r && *r <= frame.to_px && *r >= frame.from_px;
        if (!inside || (!run.empty() && apart(before, *r))) {
            if (run.size() > 1) canvas.line(run, false, style, line_width, colour);
            run.clear();
        }
        if (!inside) continue;
        run.push_back(frame.at(angle, *r));
        before = *r;
    }
}

void draw_arcs(Canvas& canvas, const Frame& frame, const HoleRecord& hole, const std::vector<Arc>& arcs,
               LineStyle style, double line_width, Colour colour) {
    draw_over_angles(canvas, frame, style, line_width, colour, [&](int angle) -> std::optional<double> {
        const bool in =
            std::any_of(arcs.begin(), arcs.end(), [&](const Arc& arc) { return contains(arc, angle); });
        return in ? std::optional(wall_radius(hole, angle)) : std::nullopt;
    });
}

void draw_lines(Canvas& canvas, const Frame& frame, const HoleRecord& hole) {
    draw_over_angles(canvas, frame, style_of(hole.wall.state), line, palette::wall,
                     [&](int angle) { return std::optional(contour_radius(hole, angle)); });
    std::vector<std::optional<double>> ring(360);
    for (const auto& gap : hole.keepout.profile) {
        const auto angle = static_cast<std::size_t>(std::lround(gap.angle_deg)) % 360;
        if (gap.gap_px) ring[angle] = wall_radius(hole, gap.angle_deg) + *gap.gap_px;
    }
    draw_over_angles(canvas, frame, LineStyle::solid, line * 0.8, palette::ring,
                     [&](int angle) { return ring[static_cast<std::size_t>(angle)]; });
    draw_arcs(canvas, frame, hole, hole.keepout.runs_on_arcs_deg, LineStyle::dashed, line * 1.6,
              palette::contact);
    draw_arcs(canvas, frame, hole, hole.keepout.touching_arcs_deg, LineStyle::solid, line * 2,
              palette::contact);
    draw_arcs(canvas, frame, hole, hole.hidden_arcs_deg, LineStyle::dotted, line, palette::hidden);
    const auto& keepout = hole.keepout;
    if (keepout.min_px && keepout.min_px.value() > 0 && keepout.min_angle_deg) {
        const double from = wall_radius(hole, *keepout.min_angle_deg);
        canvas.line({frame.at(*keepout.min_angle_deg, from),
                     frame.at(*keepout.min_angle_deg, from + keepout.min_px.value())},
                    false, LineStyle::solid, line * 1.3, palette::ring);
    }
}

void draw_axes(Canvas& canvas, const Frame& frame) {
    const double end_y = height - bottom;
    for (int angle = 0; angle <= 360; angle += 45) {
        const double x = frame.at(angle, frame.from_px).x;
        const std::string label = std::to_string(angle) + "°";
        canvas.fill_box(x - 1, end_y, 2, 8, ink);
        canvas.text(x - canvas.text_width(label, text) / 2, end_y + 32, label, text, ink, false);
    }
    for (const auto& tick : ticks((frame.from_px - frame.wall_px) * frame.unit_per_px,
                                  (frame.to_px - frame.wall_px) * frame.unit_per_px, 6)) {
        const std::string label = tick.text + " " + frame.unit;
        const double y = std::clamp(frame.y_of(tick.value), top + text * 0.4, end_y);
        canvas.fill_box(left - 8, frame.y_of(tick.value) - 1, 8, 2, ink);
        canvas.text(left - 14 - canvas.text_width(label, text), y + text * 0.36, label, text, ink, false);
    }
}

} // namespace

std::unique_ptr<Canvas> draw_unrolled(ImageView<const float> t, GreyRange range, const BoardRecord& record,
                                      const HoleRecord& hole) {
    const Frame frame = frame_of(record, hole);
    auto canvas = std::make_unique<Canvas>(width, height);
    paint(*canvas, t, range, hole, frame);
    draw_lines(*canvas, frame, shown_part(hole, t));
    draw_axes(*canvas, frame);
    return canvas;
}

} // namespace ringwall
