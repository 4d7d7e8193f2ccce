// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/body.hpp"
#include "rings/levels.hpp"
#include "rings/wall_line.hpp"
#include "ringwall/hole.hpp"

#include <cstdint>
#include <span>
#include <vector>

namespace ringwall::rings {

/// What a pixel of a patch may be used for.
enum class Use : std::uint8_t {
    free,      ///< board, told by its smoothed T
    wall,      ///< the hole itself and the blur of its wall
    neighbour, ///< another hole and the blur of its wall
    dense,     ///< something no foil can be, not joined to the hole; a part's body
    outside,   ///< beyond the picture
};

/// The neighbourhood of one hole, smoothed just enough that one foil stands out of the noise. Pixels, or
/// blocks of `bin` x `bin` pixels for the far field; (x, y) of the patch is picture px (x0 + bin x + (bin -
/// 1)/2, ...).
struct Patch {
    int x0 = 0, y0 = 0, width = 0, height = 0, bin = 1;
    Point centre;                    ///< of the hole, in patch coordinates
    double smoothing_px = 0;         ///< added Gaussian, in picture px
    double noise = 0;                ///< sigma of `smooth` over laminate
    std::vector<float> smooth;       ///< T
    std::vector<std::uint8_t> foils; ///< of `free` pixels
    std::vector<Use> use;
    std::vector<int>
        label;          ///< 4-connected pieces of copper, from 1; the wall zone of a plated hole is copper
    int wall_label = 0; ///< piece that holds the wall of a plated hole, 0: none

    [[nodiscard]] std::size_t at(int x, int y) const {
        return static_cast<std::size_t>(y) * static_cast<std::size_t>(width) + static_cast<std::size_t>(x);
    }
    [[nodiscard]] bool contains(int x, int y) const { return x >= 0 && y >= 0 && x < width && y < height; }
};

/// Pieces of copper of fewer patch pixels than this (smoothing sigma in patch pixels) count only when they
/// are darker than the threshold by deep_z of the noise: what noise makes is neither large nor deep.
inline int least_piece(double smoothing) {
    return 2 + static_cast<int>(std::lround(10 * smoothing * smoothing));
}
inline constexpr double deep_z = 2.5;

/// `reach_px` beyond the wall's largest radius; `wall_zone_px`: width outside the wall that belongs to the
/// wall's blur. `levels` are the picture's and become the neighbourhood's.
Patch make_patch(const TransmissionMap& map, RingLevels& levels, const Hole& hole, const WallLine& wall,
                 std::span<const Hole> neighbours, std::span<const Body> bodies, double reach_px,
                 double wall_zone_px, int bin);

} // namespace ringwall::rings
