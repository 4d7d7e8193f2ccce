// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "pictures/overlay.hpp"
#include "ringwall/record.hpp"

#include <string>

namespace ringwall {

/// The lines of one hole (see draw_overlay).
void draw_marks(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole);

/// Line style of a wall's state, the same on the picture and in its legend.
LineStyle style_of(WallState wall);

/// Radius of everything drawn for a hole, px.
double outer_radius(const HoleRecord& hole);

/// "3.302 ±0.034 mm", "132.1 ±0.1 px", or what is missing; U, k = 2.
std::string bore_text(const HoleRecord& hole);
/// "keep-out 0.391 ±0.060 mm", "touches copper", ...
std::string keepout_text(const HoleRecord& hole);
/// That of the line which the text is about.
Colour keepout_colour(const HoleRecord& hole);

} // namespace ringwall
