// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/fit_screw.hpp"

#include <string>
#include <vector>

namespace ringwall::screwfit {

/// Own copper (lands, spokes) outside of the wall, mm; 0: none, or so wide that it must lie on another layer
/// than the nearest copper (on the same one the two would be joined).
double own_copper_beyond_mm(const RingInMm& ring);

/// Everything that forbids `gap_shown`, each a sentence for the page; empty: nothing does.
std::vector<std::string> forbids_gap(const RingInMm& ring, const Judging& with);

} // namespace ringwall::screwfit
