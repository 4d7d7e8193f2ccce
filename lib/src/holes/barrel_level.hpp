// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/materials.hpp"

#include <optional>

namespace ringwall {

/// What a person states of the board's build; nothing stated: what boards commonly are.
struct BoardBuild {
    std::optional<double> board_mm; ///< copper to copper outside
    std::optional<double> foil_um;  ///< one plane's copper
};

/// T through plating seen end-on (copper of the board's thickness), from the level of bare laminate and the
/// step that the first copper makes on it.
///
/// Neither gives it alone: the step does not know its foil's thickness, the laminate neither the board's nor
/// its own bromine, and no level tells how broad the beam is. So every beam (single energies, tubes with
/// light and with copper filters), thickness, foil (and number of foils that always overlap) and laminate
/// recipe is weighed by how common it is and how well it makes the two levels; the value is the mean of what
/// they predict for the barrel, u their spread. Attenuation by xraylib; how common builds are: common
/// practice, no source. Missing when bare laminate or a copper level is not in view.
Estimate expected_barrel_level(const MaterialLevels& levels, const BoardBuild& build);

/// Copper, in um, whose darkening of bare laminate is `darkening` (in T), from the same weighing: with
/// `foil_um` stated the first foil's step tells it, without it how common builds are. The value is the mean,
/// u the spread.
Estimate expected_copper_um(const MaterialLevels& levels, const BoardBuild& build, double darkening);

/// The reverse: share of the laminate's T that `copper_um` of copper takes away, 0 to 1, on the side that
/// shows less (1.645 u). Nothing where expected_copper_um says nothing.
std::optional<double> expected_darkening_share(const MaterialLevels& levels, const BoardBuild& build,
                                               double copper_um);

} // namespace ringwall
