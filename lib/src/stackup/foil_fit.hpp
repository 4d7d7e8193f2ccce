// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

namespace ringwall {

/// One voxel mean of a block of columns near a foil or a face.
struct DepthReading {
    double depth = 0;  ///< slices along the normal
    double value = 0;  ///< laminate steps
    double smear2 = 0; ///< variance that the block's own slope adds to the blur, slices^2
};
using BlockReadings = std::vector<DepthReading>; ///< of one block

/// Blocks that one foil fills for the most part, with what lies on its two sides.
struct CoveredFoil {
    double middle = 0; ///< guess in, value out
    double u_middle = 0;
    double thickness = 1, u_thickness = 0;
    std::vector<BlockReadings> blocks;
};

/// Blocks with a face of bare laminate.
struct BareFace {
    double depth = 0, u_depth = 0; ///< guess in, value out
    bool rising = true;            ///< laminate lies at greater depths
    std::vector<BlockReadings> blocks;
};

/// What foils and faces together say: one blur, a place for each, and the foils' thickness as far as the blur
/// lets it show.
///
/// Model: a foil is a box between two levels, a face one step, each blurred by the common Gaussian (and the
/// block's own smear). Height, levels on both sides (a barrel may stand in the block) and a small shift are
/// each block's own and eliminated from it (variable projection, Golub & Pereyra 1973, doi 10.1137/0710036);
/// Levenberg and Marquardt on blur, places and thicknesses. Blur and the thickness of a foil thinner than it
/// are told apart by the bare faces (their width is the blur alone) and by thick foils.
struct FoilFit {
    double blur = 1, u_blur = 0;
    std::vector<CoveredFoil> foils;
    std::vector<BareFace> faces;
    double residual = 0; ///< RMS in units of the readings' own noise
};
/// `noise`: sigma of a reading. `usual_px`, `u_log_usual`: what foils commonly are, as weak a guess as said.
FoilFit fit_foils(FoilFit guess, double noise, double usual_px, double u_log_usual);

} // namespace ringwall
