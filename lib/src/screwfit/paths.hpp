// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/one_ring.hpp"

#include <string>
#include <vector>

namespace ringwall::screwfit {

/// The ways of metal that can be judged: the thread (its finding already made), then head, washer and far
/// side where their size is known. Face-on no copper is known to lie on an outer face: those three say
/// `gap_shown` or, where the copper would be too near if it lay there, `undecided`.
std::vector<MetalPath> paths_of(const RingInMm& ring, const Judging& with, Finding thread,
                                const OneRing& judged);

/// The ways that were not judged, each with what is missing.
std::vector<std::string> paths_not_judged(const Screw& screw);

} // namespace ringwall::screwfit
