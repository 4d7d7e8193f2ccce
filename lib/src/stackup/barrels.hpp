// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/align.hpp"
#include "stackup/step_model.hpp"

namespace ringwall::stackup {

struct Barrel {
    double along = 0;
    Estimate width_px;
};

/// Plated holes seen from the side, by the laminate between the layers: attenuation along the board is fitted
/// as the sum of tubes, copper a 2 (sqrt(R^2 - x^2) - sqrt(r^2 - x^2)) less the laminate that the hole took
/// away (attenuations of things behind each other add). A tube must show in the upper and in the lower half
/// of the board's gaps; two behind each other show as one.
std::vector<Barrel> find_barrels(const TransmissionMap& map, const Strip& strip, const Steps& steps,
                                 Watch& watch);

} // namespace ringwall::stackup
