// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "exposure/blocks.hpp"
#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"
#include "ringwall/transmission.hpp"

namespace ringwall::exposure {

/// What the picture's edges tell of the cabinet.
struct EdgeFacts {
    Estimate blur_sigma_px; ///< Gaussian equivalent of optics and pixel area together
    double halo = 0;        ///< median overshoot as a share of the step, 0 when none can be told
    double halo_u = 0;
    int halo_edges = 0; ///< edges behind the halo
    int edges = 0;      ///< edges behind the blur
};

/// Fits one shared Gaussian width to the picture's clean edges, each with its own place, direction, curvature
/// and levels. Edges that are no single step (barrels, narrow traces) are left out by their chi-square.
///
/// Halo: on each edge with room on both sides, how much the brightest place near the edge passes the
/// brightest place further off, as a share of the step. `saturated`: bright ends are cut off, so straight
/// edges' dark sides count instead (a bore's dark side may be a barrel).
EdgeFacts measure_edges(ImageView<const float> t, const Blocks& blocks, const NoiseModel& noise,
                        bool saturated);

} // namespace ringwall::exposure
