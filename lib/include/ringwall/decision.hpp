// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"

#include <string>

namespace ringwall {

/// A human decision: made by a person, kept beside the case, shown in every result.
struct Decision {
    enum class Act { add_hole, strike_out, set_wall, set_scale };
    Act act = Act::add_hole;
    Point at_px; ///< add_hole, strike_out, set_wall: where (nearest hole within its radius); set_scale: first
                 ///< point
    Point to_px; ///< set_scale: second point
    double value = 0;                      ///< add_hole: radius_px to start from; set_scale: distance in mm
    WallState wall = WallState::undecided; ///< set_wall
    std::string who, when, why;
    bool after_result = false; ///< made when a result without it was already known
    bool operator==(const Decision&) const = default;
};

} // namespace ringwall
