// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/transmission.hpp"

#include "holes/contour.hpp"
#include "holes/rim_model.hpp"

#include <vector>

namespace ringwall {

/// Takes the tracing's own error out of a smoothed rim. Each bin was fitted as if the rim ran on straight; at
/// the bottom of a bite and at the end of a worn wall it does not, and the blur and the smoothing round it
/// off. The smoothed rim is drawn without noise, traced and smoothed the same way, and what came out of place
/// is subtracted (at most two sigma of the blur).
std::vector<RimBin> undo_rounding(const SmoothRim& smooth, const std::vector<RimBin>& bins,
                                  const RimTracing& tracing);

} // namespace ringwall
