// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"

#include <string>
#include <vector>

using cairo_surface_t = struct _cairo_surface;

namespace ringwall {

/// The palette's three hues on white paper: as dark as text, so that a copier keeps them.
namespace print_palette {
inline constexpr Colour wall{16, 92, 142};
inline constexpr Colour ring{140, 104, 0};
inline constexpr Colour contact{142, 36, 118};
inline constexpr Colour band{16, 92, 142, 0.18};
inline constexpr Colour copper{140, 104, 0, 0.22};
inline constexpr Colour own{142, 36, 118, 0.22};
inline constexpr Colour unseen{110, 110, 115, 0.25};
inline constexpr Colour metal{90, 94, 102, 0.28};
inline constexpr Colour ink{30, 32, 36};
inline constexpr Colour faint{190, 192, 196};
} // namespace print_palette

/// A line drawing for a page, in points (1/72 inch); y down. It ends as SVG text, the same bytes for the same
/// calls: no number of a surface, no time.
class VectorCanvas {
  public:
    enum class Anchor { start, middle, end };
    VectorCanvas(double width_pt, double height_pt);
    ~VectorCanvas();
    VectorCanvas(const VectorCanvas&) = delete;
    VectorCanvas& operator=(const VectorCanvas&) = delete;

    /// What is drawn after this shows only inside the box; `end_clip` ends it.
    void clip(double x, double y, double width, double height);
    void end_clip();
    /// Area between the outlines (even-odd).
    void fill(const std::vector<std::vector<Point>>& outlines, Colour colour);
    void line(const std::vector<Point>& points, bool closed, LineStyle style, double width, Colour colour);
    void circle(Point centre, double radius, LineStyle style, double width, Colour colour);
    void fill_circle(Point centre, double radius, Colour colour);
    void text(Point at, const std::string& text, double size, Anchor anchor, Colour colour);
    /// Reading upward, centred on `at`.
    void text_upward(Point at, const std::string& text, double size, Colour colour);

    /// Finishes the drawing; nothing may be drawn after it.
    [[nodiscard]] std::string svg();

  private:
    std::string bytes_;
    cairo_surface_t* surface_ = nullptr;
    cairo_t* context_ = nullptr;
};

} // namespace ringwall
