// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"

namespace ringwall::pen {

/// What raster and vector drawings have in common: one font, one set of line styles.
void set_colour(cairo_t* context, Colour colour);
void choose_font(cairo_t* context, double size);
/// Strokes the current path and keeps it.
void stroke_preserve(cairo_t* context, LineStyle style, double width, Colour colour);

} // namespace ringwall::pen
