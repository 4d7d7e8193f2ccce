// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "ringwall/record.hpp"

#include <memory>

namespace ringwall {

/// The picture of a board seen edge-on with what was measured on it: both faces as lines, every copper layer
/// numbered at the end of the board, every barrel between two bars; below it the thickness, the count, line
/// styles, scale bar and cautions. Without a board in it, the picture and the reason.
std::unique_ptr<Canvas> draw_edge_overlay(ImageView<const float> t, const BoardRecord& record);

} // namespace ringwall
