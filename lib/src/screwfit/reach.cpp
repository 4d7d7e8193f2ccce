// SPDX-License-Identifier: Apache-2.0
#include "screwfit/reach.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::screwfit {

double resting_reach_mm(double drill_mm, const Screw& screw) {
    return 0.5 * std::max(drill_mm, screw.major_mm);
}

double cutting_reach_mm(double drill_mm, const Screw& screw) {
    return drill_mm > screw.minor_mm ? 0.5 * drill_mm + 0.5 * (screw.major_mm - screw.minor_mm)
                                     : 0.5 * screw.major_mm;
}

double axis_off_mm(double drill_mm, const Screw& screw) {
    return std::max(0.0, 0.5 * (drill_mm - screw.major_mm));
}

double head_reach_mm(double drill_mm, const Screw& screw, double head_mm) {
    return axis_off_mm(drill_mm, screw) + 0.5 * head_mm;
}

double washer_reach_mm(double drill_mm, const Screw& screw, double washer_bore_mm, double washer_outer_mm) {
    return axis_off_mm(drill_mm, screw) + std::max(0.0, 0.5 * (washer_bore_mm - screw.major_mm)) +
           0.5 * washer_outer_mm;
}

double tilt_reach_mm(const Screw& screw, double board_mm) {
    return board_mm * std::tan(screw.tilt_deg * std::numbers::pi / 180);
}

Engagement engagement_of(double bore_mm, const Screw& screw) {
    return screw.engagement.value_or(screw.major_mm > bore_mm ? Engagement::cuts : Engagement::free);
}

} // namespace ringwall::screwfit
