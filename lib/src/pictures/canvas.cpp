// SPDX-License-Identifier: Apache-2.0
#include "pictures/canvas.hpp"

#include "pictures/cairo_pen.hpp"
#include "pictures/png_file.hpp"

#include <cairo.h>

namespace ringwall {

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
    pen::set_colour(context_, colour);
    cairo_fill(context_);
}

void Canvas::line(const std::vector<Point>& points, bool closed, LineStyle style, double width,
                  Colour colour) {
    if (points.size() < 2) return;
    cairo_new_path(context_);
    for (const auto& point : points)
        cairo_line_to(context_, point.x, point.y);
    if (closed) cairo_close_path(context_);
    pen::stroke_preserve(context_, LineStyle::solid, width * 1.9,
                         Colour{palette::halo.r, palette::halo.g, palette::halo.b, 0.35});
    pen::stroke_preserve(context_, style, style == LineStyle::dotted ? width * 1.5 : width, colour);
    cairo_new_path(context_);
}

void Canvas::text(double x, double baseline_y, const std::string& text, double size, Colour colour,
                  bool with_halo) {
    pen::choose_font(context_, size);
    cairo_move_to(context_, x, baseline_y);
    cairo_text_path(context_, text.c_str());
    if (with_halo) pen::stroke_preserve(context_, LineStyle::solid, size / 4.5, palette::halo);
    pen::set_colour(context_, colour);
    cairo_fill(context_);
}

double Canvas::text_width(const std::string& text, double size) {
    pen::choose_font(context_, size);
    cairo_text_extents_t extents;
    cairo_text_extents(context_, text.c_str(), &extents);
    return extents.x_advance;
}

std::string Canvas::png() {
    cairo_surface_flush(cairo_get_target(context_));
    return rgb_png(pixels_.view());
}

void Canvas::write_png(const std::filesystem::path& file) {
    cairo_surface_flush(cairo_get_target(context_));
    write_rgb_png(file, pixels_.view());
}

} // namespace ringwall
