// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "inspection/session.hpp"
#include "ringwall/record.hpp"

namespace ringwall {

/// The record of a board without its holes: program, options, board, source with warnings, not-proven lines.
BoardRecord board_record(const Session::Products& products, const Scale& scale,
                         std::span<const Decision> decisions);

/// What one face-on picture cannot show, for every reader of the results.
std::vector<std::string> not_proven_face_on();
/// The same for a slice stack.
std::vector<std::string> not_proven_stack();

} // namespace ringwall
