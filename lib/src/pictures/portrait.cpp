// SPDX-License-Identifier: Apache-2.0
#include "pictures/hole_figures.hpp"
#include "pictures/hole_marks.hpp"
#include "pictures/overlay.hpp"
#include "pictures/scale_bar.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr int side = 620; ///< canvas pixels; printed 84 mm wide
constexpr double text = 24, line = 3;

double scale_mm(const BoardRecord& record, const HoleRecord& hole) {
    const auto source = static_cast<std::size_t>(hole.source);
    return source < record.sources.size() ? record.sources[source].pixel_mm.value_or(0) : 0;
}

/// Where it is and how wide, and nothing else.
HoleRecord wall_alone(const HoleRecord& hole) {
    HoleRecord bare = hole;
    bare.keepout = {};
    bare.hidden_arcs_deg.clear();
    return bare;
}

HoleRecord moved(HoleRecord hole, Point corner_px) {
    hole.x_px -= corner_px.x;
    hole.y_px -= corner_px.y;
    return hole;
}

ScaleBar bar_for(const BoardRecord& record, const HoleRecord& hole, double zoom) {
    const double mm = scale_mm(record, hole);
    ScaleBar bar;
    bar.unit_per_canvas = (mm > 0 ? mm : 1) / zoom;
    bar.unit = mm > 0 ? "mm" : "px";
    bar.most = side / 3.0;
    bar.text = text;
    bar.line = line;
    bar.halo = true;
    return bar;
}

} // namespace

double shown_beyond_px(const HoleRecord& hole) {
    const double wall = hole_radius(hole);
    double furthest = 0;
    for (const auto& gap : hole.keepout.profile)
        furthest = std::max(furthest, gap.gap_px.value_or(0));
    const double most = std::max(1.2 * wall, 2.5 * hole.keepout.min_px.value_or(0));
    return std::clamp(1.25 * furthest, 0.5 * wall, most);
}

std::unique_ptr<Canvas> draw_portrait(ImageView<const float> t, GreyRange range, const BoardRecord& record,
                                      const HoleRecord& hole) {
    const double half = hole_radius(hole) + shown_beyond_px(hole), zoom = side / (2 * half);
    const Point corner{hole.x_px + 0.5 - half, hole.y_px + 0.5 - half};
    auto canvas = std::make_unique<Canvas>(side, side);
    paint_part(*canvas, t, corner, zoom, range);
    OverlayLayout layout;
    layout.zoom = zoom;
    layout.line = line;
    for (const auto& other : record.holes) {
        const double away = std::hypot(other.x_px - hole.x_px, other.y_px - hole.y_px);
        const bool same = other.id == hole.id && other.source == hole.source;
        if (same || other.source != hole.source || away > 1.5 * half + hole_radius(other)) continue;
        draw_marks(*canvas, layout, moved(wall_alone(other), corner));
    }
    draw_marks(*canvas, layout, moved(shown_part(hole, t), corner));
    draw_scale_bar(*canvas, {text * 0.7, side - text * 0.7}, bar_for(record, hole, zoom));
    return canvas;
}

} // namespace ringwall
