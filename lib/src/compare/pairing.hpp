// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "compare/frame.hpp"

#include <vector>

namespace ringwall::compare {

/// Every hole of both boards' first sources in one entry: pairs first found by the alignment, then by name,
/// then by nearness; the rest alone, `dropped` or `added` where the other picture covers the place (see
/// compare_boards).
std::vector<HoleChange> pair_holes(const BoardRecord& old_board, const BoardRecord& revised_board,
                                   const AlignTask& task, const HoleAlignment& alignment, const Frame& frame);

} // namespace ringwall::compare
