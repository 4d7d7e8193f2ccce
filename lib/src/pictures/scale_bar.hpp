// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"

#include <string>

namespace ringwall {

/// 1, 2 or 5 times a power of ten, at most `most` (> 0).
double round_length(double most);

/// How a scale bar is drawn: at most `most` long, in canvas pixels like the rest.
struct ScaleBar {
    double unit_per_canvas = 0; ///< length that one canvas pixel shows; 0: no bar
    std::string unit = "mm";
    double most = 100;
    double text = 12, line = 1.5;
    bool halo = false; ///< over a picture
};
/// From the lower left end of the bar; its length stands to its right.
void draw_scale_bar(Canvas& canvas, Point at, const ScaleBar& bar);

} // namespace ringwall
