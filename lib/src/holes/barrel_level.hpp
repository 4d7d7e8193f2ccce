// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/materials.hpp"

#include <functional>
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

/// Thinnest copper, um, that is noticed with 95 % probability, from the same weighing: `chance` is the
/// probability that a darkening of that share of bare laminate's T, 0 to 1, is noticed, and grows with it;
/// its mean over everything that makes the levels counts, so that what is not known of the build and what
/// noise hides are one probability. With `foil_um` stated the first step tells its copper, without it how
/// common builds are. Nothing without laminate or a copper level, or where no copper up to 0.5 mm is sure
/// to be noticed.
std::optional<double> copper_noticed_um(const MaterialLevels& levels, const BoardBuild& build,
                                        const std::function<double(double share)>& chance);

/// Share of the laminate's T that `copper_um` of copper takes away, 0 to 1, at the least: with 95 %
/// probability it takes more. Nothing where copper_noticed_um says nothing.
std::optional<double> expected_darkening_share(const MaterialLevels& levels, const BoardBuild& build,
                                               double copper_um);

} // namespace ringwall
