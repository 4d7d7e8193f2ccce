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
inline constexpr Limits foil_limits_um{2, 500, "a foil of 2 to 500 µm (in micrometres, not millimetres)"};
/// Board, mm.
inline constexpr Limits board_limits_mm{0.1, 10, "a board of 0.1 to 10 mm (in millimetres, not micrometres)"};
/// Screw, mm: thread diameters.
inline constexpr Limits screw_limits_mm{0.5, 20, "a screw of 0.5 to 20 mm (in millimetres, not inches)"};
/// Head, washer, nut or standoff, mm: diameters.
inline constexpr Limits hardware_limits_mm{0.5, 60,
                                           "a diameter of 0.5 to 60 mm (in millimetres, not inches)"};
inline constexpr Limits tilt_limits_deg{0, 45, "a tilt of 0 to 45 degrees from the hole's axis"};
/// Peak voltage between conductors. 0 is no voltage: without one, no row of a spacing table applies.
inline constexpr Limits peak_limits_v{0.1, 10000,
                                      "a peak voltage of 0.1 to 10000 V (of a sine: rms x 1.414)"};
inline constexpr Limits spacing_limits_mm{0.01, 50,
                                          "a spacing of 0.01 to 50 mm (in millimetres, not micrometres)"};
/// From the X-ray source, mm.
inline constexpr Limits distance_limits_mm{1, 10000, "a distance of 1 to 10000 mm"};
/// Pixel of a detector, mm.
inline constexpr Limits detector_limits_mm{
    0.001, 2, "detector pixels of 0.001 to 2 mm (in millimetres, not micrometres)"};

} // namespace ringwall
