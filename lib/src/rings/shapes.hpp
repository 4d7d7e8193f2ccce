// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/job.hpp"

#include <vector>

namespace ringwall::rings {

/// A closed shape that much of the turn agrees with, before any fit.
struct Guess {
    bool ok = false;
    Contour contour;
    RayFlags use{}; ///< rays that agree
};

/// One plane's edge, or those of several planes too close together to be told apart.
struct PlaneEdge {
    Contour contour;
    int foils = 1; ///< how many it adds
};

/// Edges that may explain a ring together, and the rays to fit them on.
struct EdgeChoice {
    RayFlags use{};
    std::vector<PlaneEdge> edges;
};

/// The hole's land as a circle, through where own copper seems to end on the rays `allowed`.
Guess guess_land(const Job& job, const RayFlags& allowed);

/// What the ring may be: a circle or regular polygon a plane, planes merged where blur merges them, or two
/// that cross. Empty: nothing closed is there.
std::vector<EdgeChoice> edge_choices(const Job& job);

} // namespace ringwall::rings
