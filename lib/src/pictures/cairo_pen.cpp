// SPDX-License-Identifier: Apache-2.0
#include "pictures/cairo_pen.hpp"

#include <array>
#include <cairo.h>

namespace ringwall::pen {
namespace {

void set_dashes(cairo_t* context, LineStyle style, double width) {
    const std::array dashed{5 * width, 3.5 * width};
    const std::array dash_dot{6 * width, 3 * width, 1 * width, 3 * width};
    const std::array dotted{0.01 * width, 2.4 * width}; // round caps make the dots
    switch (style) {
    case LineStyle::solid:
        cairo_set_dash(context, nullptr, 0, 0);
        break;
    case LineStyle::dashed:
        cairo_set_dash(context, dashed.data(), 2, 0);
        break;
    case LineStyle::dash_dot:
        cairo_set_dash(context, dash_dot.data(), 4, 0);
        break;
    case LineStyle::dotted:
        cairo_set_dash(context, dotted.data(), 2, 0);
        break;
    }
    cairo_set_line_cap(context, style == LineStyle::dotted ? CAIRO_LINE_CAP_ROUND : CAIRO_LINE_CAP_BUTT);
}

} // namespace

void set_colour(cairo_t* context, Colour c) {
    cairo_set_source_rgba(context, c.r / 255.0, c.g / 255.0, c.b / 255.0, c.a);
}

void choose_font(cairo_t* context, double size) {
    cairo_select_font_face(context, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(context, size);
}

void stroke_preserve(cairo_t* context, LineStyle style, double width, Colour colour) {
    set_colour(context, colour);
    set_dashes(context, style, width);
    cairo_set_line_width(context, width);
    cairo_stroke_preserve(context);
}

} // namespace ringwall::pen
