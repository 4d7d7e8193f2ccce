// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "layers/layered_hole.hpp"

#include <optional>

namespace ringwall::layers {

/// Copper between the layers, nearest to one hole.
struct CopperBetween {
    double gap_px = 0;   ///< from the drilled wall, at the least that tilt leaves open
    double depth_px = 0; ///< below the low face, slices
    double angle_deg = 0;
};

/// From what level on something between the layers counts as copper, and how thin a foil would reach it.
struct BetweenSight {
    double level = 0;          ///< laminate steps
    double least_foil_px = 0;  ///< slices; it may lie one sigma of the blur from the depths looked at
    std::vector<int> unlooked; ///< layers k between which and k + 1 copper may lie and would not show
};

/// Level: half way more than laminate again and eight robust sigma above the commonest value, so that neither
/// the laminate's glass nor noise counts. `pitch_um`: distance of slices, 0 where it is not known; layers
/// closer than two foils of 35 um with two sheets of 50 um between them (common practice, no source) leave no
/// room for another.
BetweenSight between_sight(const FlatStack& flat, double copper_ratio, double pitch_um);

/// Nearest pixel at that level to the hole's wall, searched out to `search_px` from it; nothing: none. The
/// wall's own plating is left out, and lands at depths of their own are not told from foreign copper.
std::optional<CopperBetween> copper_between(const FlatStack& flat, double pitch_px, const BetweenSight& sight,
                                            const Hole& hole, double blur_px, double search_px);

} // namespace ringwall::layers
