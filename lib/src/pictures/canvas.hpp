// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

using cairo_t = struct _cairo;

namespace ringwall {

/// 8 bits a channel, not premultiplied; a: 1 opaque.
struct Colour {
    std::uint8_t r = 0, g = 0, b = 0;
    double a = 1;
};

/// One palette for every picture. Sky, straw and plum stay apart for the common colour-vision deficiencies
/// and on grey; none of them means good or bad. No red, amber or green, so that nobody reads a verdict into a
/// line.
namespace palette {
inline constexpr Colour wall{86, 190, 245};     ///< sky: holes and their walls
inline constexpr Colour ring{255, 226, 92};     ///< straw: copper-free ring
inline constexpr Colour contact{236, 128, 214}; ///< plum: copper at the wall, own copper running on
inline constexpr Colour hidden{205, 205, 205};  ///< parts of the turn that something hides
inline constexpr Colour ink{245, 245, 245};
inline constexpr Colour halo{15, 15, 20, 0.75};
inline constexpr Colour panel{28, 30, 36};
} // namespace palette

enum class LineStyle { solid, dashed, dash_dot, dotted };

/// A drawing on an opaque picture, 4 bytes a pixel. Coordinates are canvas pixels with (0,0) at the corner of
/// the first.
class Canvas {
  public:
    Canvas(int width, int height);
    ~Canvas();
    Canvas(const Canvas&) = delete;
    Canvas& operator=(const Canvas&) = delete;

    [[nodiscard]] int width() const { return pixels_.width(); }
    [[nodiscard]] int height() const { return pixels_.height(); }
    /// 0xFFRRGGBB. Drawing through cairo and through pixels() must not be mixed: pixels first.
    [[nodiscard]] ImageView<std::uint32_t> pixels() { return pixels_.view(); }

    void fill_box(double x, double y, double width, double height, Colour colour);
    /// Line through all points; a dark line under it keeps it visible on light and dark.
    void line(const std::vector<Point>& points, bool closed, LineStyle style, double width, Colour colour);
    void text(double x, double baseline_y, const std::string& text, double size, Colour colour,
              bool with_halo);
    [[nodiscard]] double text_width(const std::string& text, double size);

    /// Finishes drawing. Throws Error(input) when the file cannot be written.
    void write_png(const std::filesystem::path& file);

    /// The same as bytes.
    [[nodiscard]] std::string png();

  private:
    Image<std::uint32_t> pixels_;
    cairo_t* context_ = nullptr;
};

} // namespace ringwall
