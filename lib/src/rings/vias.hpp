// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/job.hpp"

namespace ringwall::rings {

/// Radii on a ray, from the hole's centre, that a via joined to the hole's own plane covers with its land.
struct OwnVia {
    double from_px = 0, to_px = 0; ///< to_px 0: none on this ray
};

/// Plated neighbours that stand in the plane a plated hole is joined to all round (job.ground > 0) and belong
/// to it: none of the ring's T round their lands is brighter than that plane, as it would be in the clearance
/// that keeps another conductor's barrel apart from it.
std::array<OwnVia, rays> own_vias(const Job& job, const RingExpectation& ring);

/// The barrel of another conductor's via in the ring is copper, whether or not its land shows beyond the blur
/// of its wall: rays answered with the contour that meet one get a feature of their own.
void answer_barrels(Job& job, const RingExpectation& ring);

} // namespace ringwall::rings
