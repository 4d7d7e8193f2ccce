// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/inspection.hpp"
#include "ringwall/limits.hpp"

#include <array>
#include <string>
#include <utility>

namespace ringwall::cli {

/// Text of an option as a value. All throw Error(usage) naming the option, what was expected and what was
/// given; numbers are read without regard to the locale and must use the whole text.
double number(const std::string& option, const std::string& text, double over, double below,
              const std::string& expected);
long whole_number(const std::string& option, const std::string& text, long least, long most);
double number(const std::string& option, const std::string& text, const Limits& limits);
std::array<double, 2> pixel_size(const std::string& option, const std::string& text); ///< "V" or "X,Y"
std::array<double, 3> voxel_size(const std::string& option, const std::string& text); ///< "V" or "X,Y,Z"
KnownDistance known_distance(const std::string& option, const std::string& text);     ///< "X1,Y1,X2,Y2=MM"
std::pair<std::string, std::string> hole_pair(const std::string& option,
                                              const std::string& text); ///< "OLD=REVISED", hole ids
DenseSide dense_side(const std::string& text);
Radiometry radiometry(const std::string& text);
VoltageKind voltage_kind(const std::string& text);
std::string spacing_row(const std::string& text);

} // namespace ringwall::cli
