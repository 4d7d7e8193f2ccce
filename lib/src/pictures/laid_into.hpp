// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "compare/frame.hpp"
#include "pictures/canvas.hpp"
#include "pictures/grey.hpp"
#include "ringwall/record.hpp"

#include <functional>

namespace ringwall {

/// A hole of the revised board as it looks in the old board's picture: place, angles and px lengths.
HoleRecord laid_into_old(const HoleRecord& revised_hole, const compare::Frame& frame,
                         const Similarity& similarity);

/// Part of a canvas that shows a picture through a map.
struct Panel {
    int x = 0, y = 0, width = 0, height = 0;
};
/// Fills the panel: `picture_px` of a canvas place within it (pixel centres at whole numbers), `step_px` how
/// far its canvas pixels lie apart in the picture: coarser than a pixel, the mean of several places is shown.
void paint_mapped(Canvas& canvas, const Panel& panel, ImageView<const float> t, GreyRange range,
                  const std::function<Point(Point)>& picture_px, double step_px);

} // namespace ringwall
