// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/patch.hpp"

#include <array>

namespace ringwall::rings {

inline constexpr int most_planes = 4;

/// What one ray meets on its way out from the drilled wall, to the half pixel or so. Distances are px from
/// the centre.
struct RaySight {
    double own_end = 0;          ///< where copper joined to a plated wall ends; 0: no such copper
    bool own_to_the_end = false; ///< joined copper as far as was looked
    double first = 0;            ///< first copper that is not joined; 0: none met
    int label = 0;               ///< its piece
    int foils = 0;               ///< its foils once past the blur of its edge
    double next = 0;             ///< where that copper changes; 0: not before the end
    bool at_wall = false;   ///< bare hole: copper already where the wall's blur ends; `first` is then a guess
    bool neighbour = false; ///< `first` is the wall of another plated hole
    bool hidden = false;    ///< something dense comes before any copper
    bool cut = false;       ///< ends at the picture's edge or another hole without copper
    double looked_to = 0;
    std::array<double, most_planes> plane{}; ///< [k-1]: first place with at least k foils; 0: none
};

std::array<RaySight, rays> scan(const Patch& patch, const RingLevels& levels, const Hole& hole,
                                const WallLine& wall, std::span<const Hole> neighbours, double wall_zone_px,
                                double reach_px);

} // namespace ringwall::rings
