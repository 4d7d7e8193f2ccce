// SPDX-License-Identifier: Apache-2.0
#include "inspection/shown_by_stack.hpp"

#include "core/text.hpp"
#include "rings/least_copper.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

/// Boards of one nominal thickness hold it to about 10 %; foils are plated up and etched by up to half.
/// Boards that carry screws are 0.2 to 6.5 mm thick. All common practice, no source.
constexpr double board_tolerance = 0.1, foil_tolerance = 0.5;
constexpr double thinnest_board_mm = 0.2, thickest_board_mm = 6.5;

/// Of several statements about one layer all must say so.
bool stated_as_ground(const InspectRequest& request, int number) {
    int said = 0, ground = 0;
    for (const CaseLayer& layer : request.layers) {
        if (layer.number != number) continue;
        ++said;
        ground += layer.role == "ground" && !layer.evidence.empty() ? 1 : 0;
    }
    return said > 0 && ground == said;
}

/// The layers as the screw meets them.
std::vector<screwfit::LayerOfHole> layers_at(const StackProducts& stack, const VoxelScale& voxel,
                                             const InspectRequest& request, const layers::LayeredHole& hole) {
    const FlatStack& flat = stack.flat;
    const double board = flat.thickness_px.value();
    std::vector<screwfit::LayerOfHole> layers;
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        const double depth = flat.layers[k].depth_px.value();
        const double half = flat.layers[k].thickness_px.value_or(1) / 2 + 0.5; // half a slice: within the fit
        screwfit::LayerOfHole layer{layers::hole_on_layer(hole, k), {}};
        layer.place.number = static_cast<int>(k) + 1;
        layer.place.way_mm = std::max(depth, board - depth) * voxel.pitch_mm;
        layer.place.low_face = k == 0 && depth < half;
        layer.place.high_face = k + 1 == hole.by_layer.size() && board - depth < half;
        layer.place.ground = stated_as_ground(request, layer.place.number);
        layers.push_back(std::move(layer));
    }
    return layers;
}

/// Smallest gap seen on a layer, px; where none is seen, how far was looked.
double least_gap_px(const layers::LayeredHole& hole) {
    double least = 1e9, looked = 1e9;
    for (const Hole& layer : hole.by_layer) {
        const double wall = (layer.drill_px ? layer.drill_px : layer.bore_px).value_or(0) / 2;
        if (layer.keepout.min_px) least = std::min(least, layer.keepout.min_px.value());
        if (layer.keepout.searched_to_px > 0) looked = std::min(looked, layer.keepout.searched_to_px - wall);
    }
    return least < 1e9 ? least : std::min(looked, 1e6);
}

void add_between(const StackProducts& stack, const VoxelScale& voxel, const layers::LayeredHole& hole,
                 std::vector<std::string>& sentences) {
    for (const int k : stack.between.unlooked)
        sentences.push_back("Between layers " + std::to_string(k) + " and " + std::to_string(k + 1) +
                            " copper at a depth of its own would not show: the blur across the board is too "
                            "wide for it.");
    if (hole.by_layer.empty()) return;
    const double blur_px = stack.maps.front().map.blur_sigma_px.value_or(1);
    const double search_px = least_gap_px(hole) - 1; // a pixel: how finely a place is known there
    const auto copper =
        layers::copper_between(stack.flat, voxel.pitch_px, stack.between, hole.whole, blur_px, search_px);
    if (!copper) return;
    const double mm = voxel.in_slice.mean_mm();
    sentences.push_back("Something as dense as copper lies between the layers, nearer than the copper of any "
                        "layer: " +
                        fixed(copper->gap_px * mm, 2) + " mm from the wall at " +
                        fixed(copper->angle_deg, 0) + "°, " + fixed(copper->depth_px * voxel.pitch_mm, 2) +
                        " mm below the low-z face.");
}

} // namespace

SizeDoubts size_doubts(const StackProducts& stack, const VoxelScale& voxel, const InspectRequest& request) {
    SizeDoubts doubts;
    const Estimate board = voxel.depth_mm(stack.flat.thickness_px);
    if (!board) return doubts;
    const std::string measured = with_expanded_u(board, 3) + " mm (U, k = 2)";
    if (board.value() < thinnest_board_mm || board.value() > thickest_board_mm)
        doubts.grave.push_back("With this voxel size the board is " + measured +
                               " thick: hardly a board for screws; check the voxel size.");
    if (request.board_mm) {
        const double off = std::abs(*request.board_mm - board.value());
        const std::string words = "The thickness stated, " + shortest(*request.board_mm) +
                                  " mm, is not the one measured in the stack, " + measured;
        if (off > board_tolerance * *request.board_mm + 2 * board.u())
            doubts.grave.push_back(words + ": it or the voxel size is wrong.");
        else if (off > 2 * board.u())
            doubts.told.push_back(words +
                                  "; nominal thicknesses hold to about 10 %, and where a thickness was "
                                  "needed the larger was used.");
    }
    int wrong = 0, known = 0;
    for (const FlatLayer& layer : stack.flat.layers) {
        const Estimate um = voxel.depth_mm(layer.thickness_px).scaled(1000);
        if (!um || !request.foil_um) continue;
        ++known;
        wrong +=
            std::abs(um.value() - *request.foil_um) > foil_tolerance * *request.foil_um + 2 * um.u() ? 1 : 0;
    }
    if (2 * wrong > known)
        doubts.told.push_back("The foil stated, " + shortest(*request.foil_um) + " µm, is not what " +
                              std::to_string(wrong) + " of " + std::to_string(known) +
                              " layers show: it or the voxel size is wrong.");
    return doubts;
}

std::optional<double> thinnest_in_stack_um(const StackProducts& stack, const VoxelScale& voxel,
                                           const InspectRequest& request, const layers::LayeredHole& hole) {
    if (!voxel.in_slice.known()) return std::nullopt;
    double worst = stack.between.least_foil_px * 1000 * voxel.pitch_mm;
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        const layers::LayerMap& map = stack.maps[k];
        const CopperSight& sight = hole.by_layer[k].keepout.sight;
        if (map.copper <= 0) continue; // the whole layer is too thin to show
        const Estimate foil_um = voxel.depth_mm(stack.flat.layers[k].thickness_px).scaled(1000);
        const std::optional<double> um = foil_um ? std::optional(foil_um.value()) : request.foil_um;
        if (!um || sight.laminate <= 0) return std::nullopt;
        const double foil_step = map.step * map.copper - (1 - sight.laminate);
        worst = std::max(worst, *um * rings::least_darkening(sight, voxel.in_slice.mean_mm()) /
                                    std::max(foil_step, 1e-6));
    }
    return worst;
}

ShownBeside shown_by_stack(const StackProducts& stack, const VoxelScale& voxel, const InspectRequest& request,
                           const layers::LayeredHole& hole) {
    ShownBeside shown;
    if (!voxel.in_slice.known()) return shown;
    shown.thinnest_um = thinnest_in_stack_um(stack, voxel, request, hole);
    shown.layers = layers_at(stack, voxel, request, hole);
    if (const Estimate board = voxel.depth_mm(stack.flat.thickness_px))
        shown.measured_board_mm = board.value();
    shown.stack_forbids = size_doubts(stack, voxel, request).grave;
    if (!stack.flat.layers_why.empty())
        shown.stack_forbids.push_back("There may be more layers than those seen: " + stack.flat.layers_why +
                                      ".");
    add_between(stack, voxel, hole, shown.stack_forbids);
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        const auto& profile = hole.by_layer[k].keepout.profile;
        const bool unread = std::any_of(profile.begin(), profile.end(),
                                        [](const GapSample& at) { return at.reason == GapReason::hidden; });
        if (unread)
            shown.stack_forbids.push_back("On layer " + std::to_string(k + 1) +
                                          " part of the turn could not be read.");
    }
    return shown;
}

} // namespace ringwall
