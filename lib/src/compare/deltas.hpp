// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "compare/frame.hpp"

#include <vector>

namespace ringwall::compare {

/// How far the two pictures' scales in mm are one.
struct ScaleTie {
    bool both_mm = false;
    double old_relative_u = 0, revised_relative_u = 0;
    /// Left between the scales where the alignment ties them, relative: their departure from each other, its
    /// u, and the stretch of panels; missing: not tied.
    std::optional<double> left;
    /// Part of u(delta) that comes from the scales, for lengths old and revised that they multiply.
    [[nodiscard]] double u_of(double old_length, double revised_length) const;
};
ScaleTie scale_tie(const BoardRecord& old_board, const BoardRecord& revised_board,
                   const HoleAlignment& alignment, const Estimate& scale);

/// Fills the deltas of every pair, tests them together and names the changes (see compare_boards). Returns
/// the number of tests.
std::size_t find_changes(std::vector<HoleChange>& pairs, const BoardRecord& old_board,
                         const BoardRecord& revised_board, const Frame& frame, const ScaleTie& tie);

/// Thickness and copper layers.
BoardChange board_change(const BoardRecord& old_board, const BoardRecord& revised_board);

} // namespace ringwall::compare
