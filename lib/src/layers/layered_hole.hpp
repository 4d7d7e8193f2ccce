// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "layers/layer_map.hpp"
#include "ringwall/hole.hpp"

#include <cstdint>
#include <vector>

namespace ringwall::layers {

/// Copper of a hole's wall by angle and depth.
struct WallMap {
    static constexpr int angles = 120; ///< cells of 3 degrees, anticlockwise from 0
    int depths = 0;                    ///< cells of one slice along the board's normal, from the low face
    std::vector<float> copper_px;      ///< [depth * angles + angle]: solid copper met going outward, px
    std::vector<char> missing;         ///< 1: no plating there, in a hole that has some
    [[nodiscard]] std::size_t at(int depth, int angle) const {
        return static_cast<std::size_t>(depth) * angles + static_cast<std::size_t>(angle);
    }
};

/// One hole through all layers.
struct LayeredHole {
    /// Centre at mid-depth; wall by the wall map; keep-out of the worst layer, in each direction the least
    /// gap of all layers.
    Hole whole;
    std::vector<Hole> by_layer; ///< from the low-z face, each at its own depth
    std::vector<char> joined;   ///< of each layer: its copper meets the barrel
    Estimate wander_px;         ///< how far the layers' centres stray from a straight line along the normal
    WallMap wall_map;
};

/// The whole hole with the keep-out of one layer, and that layer's lines of its budget.
Hole hole_on_layer(const LayeredHole& hole, std::size_t layer);

struct LayerOptions {
    double confidence = 0.95;
    std::uint64_t seed = 1; ///< as RingOptions
};

/// Where the board's normal through a point at one depth passes another depth; px, depths in slices.
Point along_normal(const FlatStack& flat, double pitch_px, Point from_px, double from_depth, double to_depth);

/// Finds holes in the mean over the depth and fits each in every layer's picture (holes/fit.hpp).
/// Throws Cancelled.
std::vector<LayeredHole> fit_layers(const FlatStack& flat, const std::vector<LayerMap>& maps, double pitch_px,
                                    Watch& watch);

/// Third pass over the volume: fills the wall maps, and from them each hole's wall.
///
/// A cell's copper is the integral of the values along a ray from 4 px inside the drilled wall to 3 px beyond
/// it, less what lies beyond (laminate or a land) as far as the wall, over solid copper: free of blur while
/// plating is thinner than 4 px less twice the blur. Plating is missing where less than half the hole's own
/// median is met over 2 slices and 9 degrees and more. Throws Cancelled, Error as Volume::read_slice.
void read_walls(const Volume& volume, const FlatStack& flat, std::vector<LayeredHole>& holes, Watch& watch);

/// Copper-free ring of every hole on every layer (rings/rings.hpp), and the worst layer's as the hole's own.
/// Gaps are those of the flat board: a layer that the board's bow stretches is counted back. Where the
/// laminate is more uneven than most_uneven every ring is undecided.
void measure_layer_rings(const FlatStack& flat, const std::vector<LayerMap>& maps, double pitch_px,
                         std::vector<LayeredHole>& holes, const LayerOptions& options, Watch& watch);

} // namespace ringwall::layers
