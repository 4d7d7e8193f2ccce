// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/one_ring.hpp"

#include <string>
#include <vector>

namespace ringwall::screwfit {

/// The ways of metal that can be judged: the thread (its finding already made), then head, washer and far
/// side where their size is known. Face-on no copper is known to lie on an outer face: those three say
/// `gap_shown` or, where the copper would be too near if it lay there, `undecided`. Of a layer only an outer
/// one meets them, and what they find is of this layer alone.
std::vector<MetalPath> paths_of(const RingInMm& ring, const Judging& with, Finding thread,
                                const OneRing& judged);

/// Of a part that may be on either face only what holds on both is left: the milder of the two findings, and
/// `undecided` where one leaves a gap or has no copper. `paths`: of all layers of a hole.
void find_on_either_face(std::vector<MetalPath>& paths);

/// The ways that were not judged, each with what is missing.
std::vector<std::string> paths_not_judged(const Screw& screw);

} // namespace ringwall::screwfit
