// SPDX-License-Identifier: Apache-2.0
#include "pictures/canvas.hpp"

#include "pictures/png_file.hpp"

#include <array>
#include <cairo.h>

namespace ringwall {
namespace {

void set_colour(cairo_t* context, Colour c) {
    cairo_set_source_rgba(context, c.r / 255.0, c.g / 255.0, c.b / 255.0, c.a);
}

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

void choose_font(cairo_t* context, double size) {
    cairo_select_font_face(context, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(context, size);
}

} // namespace

Canvas::Canvas(int width, int height) : pixels_(width, height) {
    cairo_surface_t* surface = cairo_image_surface_create_for_data(
        reinterpret_cast<unsigned char*>(pixels_.data()), CAIRO_FORMAT_RGB24, width, height, width * 4);
    context_ = cairo_create(surface);
    cairo_surface_destroy(surface); // the context keeps it
    cairo_set_line_join(context_, CAIRO_LINE_JOIN_ROUND);
}

Canvas::~Canvas() {
    cairo_destroy(context_);
}

void Canvas::fill_box(double x, double y, double width, double height, Colour colour) {
    cairo_rectangle(context_, x, y, width, height);
    set_colour(context_, colour);
    cairo_fill(context_);
}

void Canvas::stroke(LineStyle style, double width, Colour colour) {
    set_colour(context_, colour);
    set_dashes(context_, style, width);
    cairo_set_line_width(context_, width);
    cairo_stroke_preserve(context_);
}

void Canvas::line(const std::vector<Point>& points, bool closed, LineStyle style, double width,
                  Colour colour) {
    if (points.size() < 2) return;
    cairo_new_path(context_);
    for (const auto& point : points)
        cairo_line_to(context_, point.x, point.y);
    if (closed) cairo_close_path(context_);
    stroke(LineStyle::solid, width * 1.9, Colour{palette::halo.r, palette::halo.g, palette::halo.b, 0.35});
    stroke(style, style == LineStyle::dotted ? width * 1.5 : width, colour);
    cairo_new_path(context_);
}

void Canvas::text(double x, double baseline_y, const std::string& text, double size, Colour colour,
                  bool with_halo) {
    choose_font(context_, size);
    cairo_move_to(context_, x, baseline_y);
    cairo_text_path(context_, text.c_str());
    if (with_halo) stroke(LineStyle::solid, size / 4.5, palette::halo);
    set_colour(context_, colour);
    cairo_fill(context_);
}

double Canvas::text_width(const std::string& text, double size) {
    choose_font(context_, size);
    cairo_text_extents_t extents;
    cairo_text_extents(context_, text.c_str(), &extents);
    return extents.x_advance;
}

void Canvas::write_png(const std::filesystem::path& file) {
    cairo_surface_flush(cairo_get_target(context_));
    write_rgb_png(file, pixels_.view());
}

} // namespace ringwall
