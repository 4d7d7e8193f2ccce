// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "pictures/overlay.hpp"
#include "ringwall/record.hpp"

#include <string>
#include <vector>

namespace ringwall {

/// The lines of one hole (see draw_overlay).
void draw_marks(Canvas& canvas, const OverlayLayout& layout, const HoleRecord& hole);

/// Line style of a wall's state, the same on the picture and in its legend.
LineStyle style_of(WallState wall);

/// Radius of the air's boundary at an angle: the contour between its two nearest points, else the fitted
/// circle.
double contour_radius(const HoleRecord& hole, double angle_deg);
/// Where gaps are counted from: the drilled wall, for a hole out of round the boundary that was found.
double wall_radius(const HoleRecord& hole, double angle_deg);
/// Neighbouring directions end at different copper: no line joins them.
bool apart(double a_px, double b_px);

/// The hole without what should not be drawn: its ring where the picture is open beam right behind, or
/// ends there (no copper was met), and hidden parts too short to be more than a dot. `t`: transmission,
/// higher is brighter.
HoleRecord shown_part(const HoleRecord& hole, ImageView<const float> t);

/// Radius of the hole itself, its plating included, px.
double hole_radius(const HoleRecord& hole);
/// Radius of the outermost line of a hole by direction, px: equal steps anticlockwise, the first to the
/// right.
std::vector<double> outline(const HoleRecord& hole, const OverlayLayout& layout);

/// "Ø3.302 ±0.034 mm", "Ø132.1 ±0.1 px", or what is missing; U, k = 2.
std::string bore_text(const HoleRecord& hole);
/// "keep-out 0.391 ±0.060 mm", "copper at the wall", ...
std::string keepout_text(const HoleRecord& hole);
/// That of the line which the text is about.
Colour keepout_colour(const HoleRecord& hole);

} // namespace ringwall
