// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"

#include <vector>

namespace ringwall {

/// Arcs of the turn where `flags` (equal angular bins, bin k centred at 360 k / n degrees) are set: from the
/// lower edge of the first bin to the upper edge of the last, degrees in [0, 360). All set: one arc 0 to 360.
std::vector<Arc> arcs_from_flags(const std::vector<bool>& flags);

/// Degrees that the arc spans, 0 to 360.
double span_deg(const Arc& arc);

/// True when the angle lies in the arc, ends included.
bool contains(const Arc& arc, double angle_deg);

} // namespace ringwall
