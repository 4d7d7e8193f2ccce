// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/one_ring.hpp"

#include <vector>

namespace ringwall::screwfit {

/// The finding with one assumption changed at a time: the neighbouring spacing rows, the screw at both limits
/// of its class, the other engagement, the scale larger and smaller by U, and the thinnest copper assumed as
/// thick as stated. Only what the case lets vary. `rings`: of all layers (judge_rings).
std::vector<Alternative> alternatives(const std::vector<RingInMm>& rings, const Judging& with,
                                      const ScrewFit& made);

} // namespace ringwall::screwfit
