// SPDX-License-Identifier: Apache-2.0
#include "pictures/vector_canvas.hpp"

#include "pictures/cairo_pen.hpp"

#include <cairo-svg.h>
#include <numbers>

namespace ringwall {
namespace {

cairo_status_t append(void* closure, const unsigned char* bytes, unsigned int count) {
    static_cast<std::string*>(closure)->append(reinterpret_cast<const char*>(bytes), count);
    return CAIRO_STATUS_SUCCESS;
}

void path(cairo_t* context, const std::vector<Point>& points, bool closed) {
    cairo_new_sub_path(context);
    for (const auto& point : points)
        cairo_line_to(context, point.x, point.y);
    if (closed) cairo_close_path(context);
}

/// Cairo numbers every surface of the process and writes the number as an id that nothing refers to.
void drop_surface_ids(std::string& svg) {
    constexpr std::string_view mark = " id=\"surface";
    for (std::size_t at = svg.find(mark); at != std::string::npos; at = svg.find(mark, at))
        svg.erase(at, svg.find('"', at + mark.size()) + 1 - at);
}

} // namespace

VectorCanvas::VectorCanvas(double width_pt, double height_pt)
    : surface_(cairo_svg_surface_create_for_stream(append, &bytes_, width_pt, height_pt)),
      context_(cairo_create(surface_)) {
    cairo_set_line_join(context_, CAIRO_LINE_JOIN_ROUND);
}

VectorCanvas::~VectorCanvas() {
    cairo_destroy(context_);
    cairo_surface_destroy(surface_);
}

void VectorCanvas::clip(double x, double y, double width, double height) {
    cairo_save(context_);
    cairo_rectangle(context_, x, y, width, height);
    cairo_clip(context_);
}

void VectorCanvas::end_clip() {
    cairo_restore(context_);
}

void VectorCanvas::fill(const std::vector<std::vector<Point>>& outlines, Colour colour) {
    cairo_new_path(context_);
    for (const auto& outline : outlines)
        path(context_, outline, true);
    cairo_set_fill_rule(context_, CAIRO_FILL_RULE_EVEN_ODD);
    pen::set_colour(context_, colour);
    cairo_fill(context_);
}

void VectorCanvas::line(const std::vector<Point>& points, bool closed, LineStyle style, double width,
                        Colour colour) {
    if (points.size() < 2) return;
    cairo_new_path(context_);
    path(context_, points, closed);
    pen::stroke_preserve(context_, style, width, colour);
    cairo_new_path(context_);
}

void VectorCanvas::circle(Point centre, double radius, LineStyle style, double width, Colour colour) {
    cairo_new_path(context_);
    cairo_arc(context_, centre.x, centre.y, radius, 0, 2 * std::numbers::pi);
    cairo_close_path(context_);
    pen::stroke_preserve(context_, style, width, colour);
    cairo_new_path(context_);
}

void VectorCanvas::fill_circle(Point centre, double radius, Colour colour) {
    cairo_new_path(context_);
    cairo_arc(context_, centre.x, centre.y, radius, 0, 2 * std::numbers::pi);
    pen::set_colour(context_, colour);
    cairo_fill(context_);
}

void VectorCanvas::text(Point at, const std::string& text, double size, Anchor anchor, Colour colour) {
    pen::choose_font(context_, size);
    cairo_text_extents_t extents;
    cairo_text_extents(context_, text.c_str(), &extents);
    const double share = anchor == Anchor::start ? 0 : anchor == Anchor::middle ? 0.5 : 1;
    cairo_move_to(context_, at.x - share * extents.x_advance, at.y);
    pen::set_colour(context_, colour);
    // As outlines: not every reader of SVG knows glyph symbols.
    cairo_text_path(context_, text.c_str());
    cairo_set_fill_rule(context_, CAIRO_FILL_RULE_WINDING);
    cairo_fill(context_);
    cairo_new_path(context_);
}

void VectorCanvas::text_upward(Point at, const std::string& words, double size, Colour colour) {
    cairo_save(context_);
    cairo_translate(context_, at.x, at.y);
    cairo_rotate(context_, -std::numbers::pi / 2);
    text({0, 0}, words, size, Anchor::middle, colour);
    cairo_restore(context_);
}

std::string VectorCanvas::svg() {
    cairo_surface_finish(surface_);
    drop_surface_ids(bytes_);
    return bytes_;
}

} // namespace ringwall
