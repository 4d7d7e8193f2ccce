// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "exposure/levels.hpp"
#include "ringwall/transmission.hpp"

#include <vector>

namespace ringwall::materials {

/// For every level (attenuations, ascending) the share of the open beam's border that it lies along: rows and
/// columns are followed from open beam across its border, and T a little beyond the blur is given to the
/// nearest level. Shares of all borders met, also of those with no level nearby. Empty with too little border
/// in view.
std::vector<double> shares_beside_open(const TransmissionMap& map,
                                       const std::vector<exposure::LogLevel>& levels);

} // namespace ringwall::materials
