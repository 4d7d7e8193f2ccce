// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace ringwall {

/// What a length that a person states can be at all. Outside, a unit was mistaken: such a value is refused,
/// because every number after it would be wrong by a thousand.
struct Limits {
    double least, most;   ///< both still allowed
    const char* expected; ///< for "expected ..., got ..."

    [[nodiscard]] constexpr bool hold(double value) const { return value >= least && value <= most; }
};

/// Pixel at the board, mm: from fine laboratory CT to a coarse picture of a whole cabinet.
inline constexpr Limits pixel_limits_mm{0.0005, 1,
                                        "pixels of 0.0005 to 1 mm (in millimetres, not micrometres)"};
/// Copper of one plane, um.
inline constexpr Limits foil_limits_um{2, 500, "a foil of 2 to 500 um (in micrometres, not millimetres)"};
/// Board, mm.
inline constexpr Limits board_limits_mm{0.1, 10, "a board of 0.1 to 10 mm (in millimetres, not micrometres)"};

} // namespace ringwall
