// SPDX-License-Identifier: Apache-2.0
#include "inspection/write_stack.hpp"

#include "core/base64.hpp"
#include "pictures/overlay.hpp"
#include "pictures/wall_map.hpp"

namespace ringwall {
namespace {

/// The record as one layer has it: each hole where it passes the layer, with that layer's ring.
BoardRecord of_layer(const BoardRecord& record, const StackProducts& stack, std::size_t layer) {
    BoardRecord out = record;
    for (std::size_t i = 0; i < out.holes.size() && i < stack.holes.size(); ++i) {
        HoleRecord& hole = out.holes[i];
        const Hole& here = stack.holes[i].by_layer[layer];
        hole.x_px = here.centre_px.x, hole.y_px = here.centre_px.y;
        hole.contour = here.contour;
        hole.keepout.touching_arcs_deg = here.keepout.touching_arcs;
        hole.keepout.runs_on_arcs_deg = here.keepout.runs_on_arcs;
        if (layer >= hole.keepout.planes.size()) continue;
        const PlaneRecord& plane = hole.keepout.planes[layer];
        hole.keepout.state = plane.state;
        hole.keepout.min_mm = plane.min_mm;
        hole.keepout.min_px = here.keepout.min_px;
        hole.keepout.min_angle_deg = plane.min_angle_deg;
        hole.keepout.p_low_mm = plane.p_low_mm;
        hole.keepout.profile = plane.profile;
    }
    return out;
}

std::string png_address(Canvas& canvas) {
    return "data:image/png;base64," + base64(canvas.png());
}

WallCells cells_of(const BoardRecord& record, const StackProducts& stack, std::size_t hole) {
    const layers::WallMap& map = stack.holes[hole].wall_map;
    const auto& source = record.sources.front();
    WallCells cells;
    cells.angles = layers::WallMap::angles;
    cells.depths = map.depths;
    cells.copper = map.copper_px;
    if (source.pixel_mm)
        for (float& copper : cells.copper)
            copper *= static_cast<float>(1000 * source.pixel_mm.value());
    else
        cells.unit = "px";
    cells.missing = map.missing;
    if (record.thickness_mm && stack.flat.thickness_px)
        cells.cell_mm = record.thickness_mm.value() / stack.flat.thickness_px.value();
    for (const FlatLayer& layer : stack.flat.layers)
        cells.layers.push_back(layer.depth_px.value());
    return cells;
}

} // namespace

void add_wall_maps(const BoardRecord& record, const StackProducts& stack, ReportPictures& pictures) {
    for (std::size_t i = 0; i < record.holes.size() && i < stack.holes.size(); ++i) {
        const auto page = pictures.holes.find({record.holes[i].source, record.holes[i].id});
        if (page == pictures.holes.end() || stack.holes[i].wall_map.depths == 0) continue;
        page->second.wall_map = png_address(*draw_wall_map(cells_of(record, stack, i)));
    }
}

std::vector<std::function<void()>> stack_picture_work(const BoardRecord& record, const StackProducts& stack,
                                                      const std::filesystem::path& folder,
                                                      ReportPictures& pictures) {
    std::vector<std::function<void()>> work;
    const std::size_t layers = record.layers ? record.layers->size() : 0;
    pictures.layers.resize(layers);
    for (std::size_t k = 0; k < layers; ++k)
        work.emplace_back([&record, &stack, &pictures, k, file = folder / (*record.layers)[k].picture] {
            const BoardRecord here = of_layer(record, stack, k);
            const ImageView<const float> t = stack.maps[k].map.t.view();
            draw_overlay(t, here, layer_caption(record, (*record.layers)[k]))->write_png(file);
            pictures.layers[k] = png_address(*draw_layer_figure(t, here));
        });
    for (std::size_t i = 0; i < record.holes.size() && i < stack.holes.size(); ++i) {
        const HoleRecord& hole = record.holes[i];
        if (!hole.stack || hole.stack->wall_map.empty() || stack.holes[i].wall_map.depths == 0) continue;
        work.emplace_back([&record, &stack, i, file = folder / hole.stack->wall_map] {
            draw_wall_map(cells_of(record, stack, i))->write_png(file);
        });
    }
    return work;
}

} // namespace ringwall
