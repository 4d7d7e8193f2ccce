// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"
#include "ringwall/transmission.hpp"

namespace ringwall::exposure {

/// What the picture's edges tell of the cabinet.
struct EdgeFacts {
    Estimate blur_sigma_px; ///< Gaussian equivalent of optics and pixel area together
    double halo = 0;        ///< median overshoot on the bright side as a share of the step
    double halo_u = 0;
    int edges = 0; ///< edges that carried the result
};

/// Fits one shared Gaussian width to the strongest clean edges of the picture, each with its own place,
/// direction, curvature and levels: level + step * Phi(d / s). Least squares with the edges' own unknowns
/// eliminated.
EdgeFacts measure_edges(ImageView<const float> t, const NoiseModel& noise);

} // namespace ringwall::exposure
