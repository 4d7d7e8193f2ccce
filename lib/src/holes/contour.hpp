// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"
#include "ringwall/transmission.hpp"

#include "holes/rim_model.hpp"

#include <vector>

namespace ringwall {

/// One angular bin of a rim, fitted on its own.
struct RimBin {
    double angle_deg = 0;
    bool seen = false;    ///< false: hidden by something in front, or no edge of the air
    double radius_px = 0; ///< boundary of the air
    double u_px = 0;
    double wall_px = 0; ///< plating in this bin (0 for a bare hole)
    double u_wall_px = 0;
};

/// How a rim was traced: what `trace_rim` was given besides the picture.
struct RimTracing {
    const NoiseModel& noise;
    const RimFit& fit;
    const RimShared& shared;
    double search_px;           ///< departures outward are followed that far
    bool noise_is_known = true; ///< not on an unknown grey scale
};

/// Bins of about 1.5 px of arc (24 to 240 of them; wider round a bare hole whose edge is faint, where the
/// noise is known), each with its own boundary (and wall), levels taken from the fit. The straight-edge model
/// with first-order curvature is within 0.03 px.
std::vector<RimBin> trace_rim(ImageView<const float> t, const RimTracing& tracing);

/// Bins averaged with their neighbours.
struct SmoothRim {
    std::vector<RimBin> bins;
    std::vector<int> halves; ///< bins taken in on either side
};

/// The bins' radii smoothed as far as they allow: for each bin the widest window whose mean agrees with all
/// narrower ones within 2.5 of their uncertainties (Lepski's rule), so that a clean circle is averaged and a
/// bite keeps its edges.
SmoothRim smooth_rim(const std::vector<RimBin>& bins);

/// The same means over given windows, weighted as the bins of `like` are.
std::vector<RimBin> smooth_over(std::vector<RimBin> bins, const std::vector<RimBin>& like,
                                const std::vector<int>& halves);

} // namespace ringwall
