// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "ringwall/compare.hpp"
#include "ringwall/image.hpp"

#include <memory>

namespace ringwall {

struct SideBySideBoard {
    ImageView<const float> t; ///< transmission; empty: the picture cannot be had, holes alone are drawn
    const BoardRecord* record = nullptr;
};

/// side-by-side.png: the old board left, the revised one right, laid into the old one's orientation and
/// scale, so that a place on one lies at the same place on the other. Holes and rings as on the overlay; a
/// frame round every hole with a change shown, dashed round one that is on this board alone. Holes for
/// hardware that changed carry their id and what changed; others that a screw was judged in or a person
/// named, their id. Scale bar and what the lines mean below. The comparison must be aligned.
std::unique_ptr<Canvas> draw_side_by_side(const SideBySideBoard& old_board,
                                          const SideBySideBoard& revised_board, const Comparison& comparison);

} // namespace ringwall
