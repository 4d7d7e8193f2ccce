// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace ringwall {

/// The page for the cabinet's operator when nothing is known of the board: plain text, at most 100 columns.
std::string general_plan();

} // namespace ringwall
