// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/ring_fit.hpp"

namespace ringwall::rings {

/// A copper edge on one ray, fitted on the wedge of pixels round it.
struct LocalEdge {
    bool ok = false;
    double rho_px =
        0; ///< half-height line, from the hole's centre; may come out inside the wall (then it touches)
    double u_px = 0;
    int window = 0; ///< rays on either side that share the fit
};

/// Levels behind the edges of the rays `wanted` as most of the rays beside have them whose edge starts about
/// as far out: noise tells one ray another number of foils than its neighbours, but copper does not change
/// its depth to and fro within a few degrees, and an edge fitted with a foil too few comes out nearer by a
/// good part of the blur.
std::array<double, rays> agreed_levels(const RayFlags& wanted, const std::array<double, rays>& start_px,
                                       const std::array<double, rays>& behind, double blur_px);

/// Edges on the rays `wanted`, near `start_px`; `inner` and `outer` are the levels in T on both sides of
/// each. With `from_wall` air, wall and laminate are part of the model (for copper within the wall's blur).
/// The wedge is widened only as far as noise demands: narrow copper must not be smoothed away.
std::array<LocalEdge, rays> local_edges(const Scene& scene, const RayFlags& wanted, const RayFlags& from_wall,
                                        const std::array<double, rays>& start_px,
                                        const std::array<double, rays>& inner,
                                        const std::array<double, rays>& outer);

} // namespace ringwall::rings
