// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "exposure/levels.hpp"

#include <vector>

namespace ringwall::materials {

/// Attenuations of laminate with 0, 1, 2 ... foils: p_k = laminate + k foil (1 - hardening (k - 1)).
/// Attenuation p = -ln T.
struct FoilSteps {
    bool found = false;
    exposure::LogLevel laminate;            ///< value = p
    std::vector<exposure::LogLevel> copper; ///< [k-1]; count 0: not seen itself, put in by the model
    double foil = 0;                        ///< p of the first foil
    double hardening = 0;
};

/// Reads the classes' attenuations as a staircase. `levels`: peaks as attenuation, ascending, without the
/// open beam. The first level that can start a staircase is the laminate; the step is the difference that
/// explains most of the levels with equal or slightly falling steps (beam hardening), the larger of two that
/// do equally well.
///
/// `beside_open`: for every level the share of the open beam's border that it lies along, or empty. Bores and
/// the board's outline are bordered by bare laminate; a part's body that stands out over the board's edge is
/// brighter and has little of that border.
FoilSteps read_steps(const std::vector<exposure::LogLevel>& levels, int most_foils,
                     const std::vector<double>& beside_open = {});

} // namespace ringwall::materials
