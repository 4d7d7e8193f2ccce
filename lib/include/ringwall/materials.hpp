// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"
#include "ringwall/transmission.hpp"
#include "ringwall/watch.hpp"

#include <cstdint>
#include <vector>

namespace ringwall {

/// Classes of a MaterialMap's pixels. copper(k) is 1 + k: laminate and k foils.
namespace material {
inline constexpr std::uint8_t void_air = 0;
inline constexpr std::uint8_t laminate = 1;
inline constexpr std::uint8_t first_copper = 2; ///< one foil over laminate; then one more each
inline constexpr std::uint8_t most_copper = 9;  ///< eight foils
inline constexpr std::uint8_t dense = 254;      ///< well above the copper seen: solder, steel, parts
inline constexpr bool is_copper(std::uint8_t m) {
    return m >= first_copper && m <= most_copper;
}
} // namespace material

/// Grey levels of the classes, in T, common to the whole picture.
struct MaterialLevels {
    Estimate open;     ///< void; 1 by construction where the background was right
    Estimate laminate; ///< missing: no bare laminate in view
    std::vector<Estimate>
        copper; ///< [k-1]: laminate with k foils; ends before the first level that could not be told apart
    bool foils_resolved = false; ///< steps between consecutive levels are over 4 sigma of a 3x3 mean
    /// T at the 50 % level between two classes' levels; class numbers as in `material`.
    [[nodiscard]] double of(std::uint8_t material_class) const;
};

/// Every pixel's most likely class at the picture's own resolution, smoothed only where noise asks for it.
struct MaterialMap {
    Image<std::uint8_t> classes;
    MaterialLevels levels;
};

/// Class levels by a constrained mixture on p = -ln T: void 0, laminate p_L, then p_L + k p_foil (methods.md
/// 2, Materials).
MaterialMap classify(const TransmissionMap& map, Watch& watch);

} // namespace ringwall
