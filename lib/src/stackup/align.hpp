// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/profile.hpp"

#include <string>
#include <vector>

namespace ringwall::stackup {

/// The board's run to a small part of a pixel, and which pieces of its length tell its layers.
struct Aligned {
    Strip strip;
    double scatter_px = 0;       ///< of single pieces' faces about the run
    std::vector<double> weights; ///< of the pieces of profiles(): 0 where something stands on the board
    std::string why;             ///< not empty: no board after all
};

constexpr double piece_px = 48;  ///< of the board's length
constexpr double beside_px = 14; ///< looked at outside each face

/// Profiles of the strip's pieces, with what lies beside the faces.
Profiles profiles(const TransmissionMap& map, const Strip& strip, Watch& watch);

/// Lays a robust parabola through where the faces cross half their step, piece by piece, three times over.
Aligned align(const TransmissionMap& map, const Strip& coarse, Watch& watch);

} // namespace ringwall::stackup
