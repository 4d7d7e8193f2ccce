// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/materials.hpp"

namespace ringwall {

/// What is known of the board's build before the picture speaks; a person's figures or what boards commonly
/// are.
struct BoardBuild {
    double board_mm = 1.6; ///< copper to copper outside
    double u_board_mm = 0.15;
    double foil_um =
        33; ///< one plane's copper: "35 um" inner foil may lawfully be 24.9 (check of IPC-6012, minimum)
    double u_foil_um = 6;
};

/// T through plating seen end-on (copper of the board's thickness), from the step that one foil makes.
///
/// One foil alone gives only the beam's mean hardness; how far the beam hardens in the whole depth depends on
/// its breadth. The value is the middle between a single energy and the broadest unfiltered tube beam that
/// makes the same foil step, u is half their distance, with the build's own uncertainty. Missing when no foil
/// step is known.
Estimate expected_barrel_level(const MaterialLevels& levels, const BoardBuild& build);

} // namespace ringwall
