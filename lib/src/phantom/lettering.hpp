// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/phantom.hpp"

#include <string_view>
#include <vector>

namespace ringwall::phantom {

/// Capitals and a few digits as strokes on a grid of 3 by 5 points; unknown signs are left blank. `at` is the
/// top left.
std::vector<Track> lettering(Point at, double height_mm, std::string_view words);

} // namespace ringwall::phantom
