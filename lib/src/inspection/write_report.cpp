// SPDX-License-Identifier: Apache-2.0
#include "inspection/write_report.hpp"

#include "core/base64.hpp"
#include "pictures/edge_overlay.hpp"
#include "pictures/hole_figures.hpp"
#include "pictures/overlay.hpp"

#include <algorithm>

namespace ringwall {
namespace {

std::string png_address(Canvas& canvas) {
    return "data:image/png;base64," + base64(canvas.png());
}

std::string svg_address(const std::string& svg) {
    return svg.empty() ? svg : "data:image/svg+xml;base64," + base64(svg);
}

HolePictures figures_of(const BoardRecord& record, const HoleRecord& hole, ImageView<const float> t,
                        GreyRange range) {
    HolePictures figures;
    figures.gap_curve = svg_address(gap_curve_svg(hole));
    figures.screw_view = svg_address(screw_view_svg(hole, record.screw));
    if (hole.source != 0) return figures;
    figures.portrait = png_address(*draw_portrait(t, range, record, hole));
    if (hole.bore_px) figures.unrolled = png_address(*draw_unrolled(t, range, record, hole));
    return figures;
}

} // namespace

std::vector<std::function<void()>> report_picture_work(const BoardRecord& record, ImageView<const float> t,
                                                       ReportPictures& pictures) {
    std::vector<std::function<void()>> work;
    const bool edge_on = !record.sources.empty() && record.sources.front().shot == Shot::edge;
    work.emplace_back([&record, t, &pictures, edge_on] {
        if (edge_on)
            pictures.edge_overlay = edge_overlay_address(t, record);
        else
            pictures.overlay = png_address(*draw_page_overlay(t, record));
    });
    const GreyRange range = display_range(t, record);
    const auto holes = worst_first(record);
    for (std::size_t i = 0; i < std::min(holes.size(), most_hole_pages); ++i) {
        const HoleRecord& hole = *holes[i];
        HolePictures& figures = pictures.holes[{hole.source, hole.id}]; // a map's places stay
        work.emplace_back(
            [&record, &hole, t, range, &figures] { figures = figures_of(record, hole, t, range); });
    }
    return work;
}

std::string edge_overlay_address(ImageView<const float> t, const BoardRecord& record) {
    return png_address(*draw_edge_overlay(t, record));
}

ReportPictures report_pictures(const BoardRecord& record, ImageView<const float> t) {
    ReportPictures pictures;
    for (const auto& piece : report_picture_work(record, t, pictures))
        piece();
    return pictures;
}

} // namespace ringwall
