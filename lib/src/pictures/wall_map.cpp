// SPDX-License-Identifier: Apache-2.0
#include "pictures/wall_map.hpp"

#include "core/text.hpp"
#include "pictures/axis.hpp"
#include "pictures/grey.hpp"
#include "pictures/vector_canvas.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr int cell_width = 6, left_px = 60, right_px = 148, above_px = 34, below_px = 96;
constexpr int key_width = 150, key_height = 12, key_below = 62; ///< the bar of greys, below the cells
constexpr Colour paper{255, 255, 255};
constexpr double text_px = 13, line_px = 1.3;

std::uint32_t packed(Colour c) {
    return 0xFF000000U | static_cast<std::uint32_t>(c.r) << 16 | static_cast<std::uint32_t>(c.g) << 8 | c.b;
}

/// Canvas pixels of a cell's depth: the map is about as tall whatever the stack's pitch.
int cell_height(const WallCells& cells) {
    constexpr int tall = 288;
    return std::clamp(tall / std::max(cells.depths, 1), 2, 8);
}

/// The most copper that the greys show: twice the usual, a round number. Bare walls get the range of a thin
/// plating, so that their noise does not look like copper.
float most_copper(const WallCells& cells) {
    std::vector<float> values = cells.copper;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    const float step = cells.unit == "px" ? 0.4F : 10.0F;
    return step * std::max(2.0F, std::ceil(2 * *middle / step));
}

class WallMapDrawing {
  public:
    WallMapDrawing(const WallCells& cells, Canvas& canvas)
        : cells_(cells), canvas_(canvas), tall_(cell_height(cells)), bottom_(above_px + cells.depths * tall_),
          right_(left_px + cells.angles * cell_width), most_(most_copper(cells)),
          range_(GreyRange::of(0, most_)) {}

    void draw() {
        for (int y = 0; y < canvas_.height(); ++y)
            for (int x = 0; x < canvas_.width(); ++x)
                canvas_.pixels()(x, y) = colour_at(x, y);
        depth_axis();
        layer_marks();
        angle_axis();
        keys();
    }

  private:
    [[nodiscard]] std::uint32_t colour_at(int x, int y) const {
        if (y >= bottom_ + key_below && y < bottom_ + key_below + key_height && x >= left_px &&
            x < left_px + key_width)
            return grey_of(most_ * static_cast<float>(x - left_px) / key_width, range_);
        if (y < above_px || x < left_px || y >= bottom_ || x >= right_) return packed(paper);
        const int d = (y - above_px) / tall_, a = (x - left_px) / cell_width;
        const auto at = static_cast<std::size_t>(d) * static_cast<std::size_t>(cells_.angles) +
                        static_cast<std::size_t>(a);
        const bool frame = (x - left_px) % cell_width == 0 || (y - above_px) % tall_ == 0;
        return cells_.missing[at] != 0 && frame ? packed(palette::contact)
                                                : grey_of(cells_.copper[at], range_);
    }
    void rule(Point from, Point to) {
        canvas_.line({from, to}, false, LineStyle::solid, line_px, print_palette::ink);
    }
    void write(double x, double y, const std::string& text) {
        canvas_.text(x, y, text, text_px, print_palette::ink, false);
    }
    void depth_axis() {
        const double unit = cells_.cell_mm.value_or(1);
        write(6, above_px - 14,
              "depth below the low face, " + std::string(cells_.cell_mm ? "mm" : "voxels") +
                  " (drawn taller than it is)");
        for (const Tick& tick : ticks(0, unit * cells_.depths, 9)) {
            const double y = above_px + tick.value / unit * tall_;
            rule({left_px - 7.0, y}, {left_px - 1.0, y});
            write(left_px - 11 - canvas_.text_width(tick.text, text_px), y + 0.36 * text_px, tick.text);
        }
    }
    void layer_marks() {
        std::vector<double> wanted;
        for (const double layer : cells_.layers)
            wanted.push_back(above_px + layer * tall_);
        const std::vector<double> labels = spread_apart(wanted, 1.25 * text_px, above_px, bottom_);
        for (std::size_t k = 0; k < labels.size(); ++k) {
            const double x = right_ + 1.0;
            canvas_.line({{x, wanted[k]}, {x + 8, wanted[k]}, {x + 16, labels[k]}}, false, LineStyle::solid,
                         line_px, print_palette::ring);
            const std::string depth = cells_.cell_mm ? fixed(cells_.layers[k] * *cells_.cell_mm, 3) + " mm"
                                                     : fixed(cells_.layers[k], 1);
            write(x + 20, labels[k] + 0.36 * text_px, "layer " + std::to_string(k + 1) + ": " + depth);
        }
    }
    void angle_axis() {
        for (int degrees = 0; degrees <= 360; degrees += 45) {
            const double x = left_px + cells_.angles * cell_width * degrees / 360.0;
            const std::string text = std::to_string(degrees) + "°";
            rule({x, bottom_ + 1.0}, {x, bottom_ + 6.0});
            write(x - canvas_.text_width(text, text_px) / 2, bottom_ + 7 + text_px, text);
        }
        write(left_px, bottom_ + 24 + text_px,
              "angle, anticlockwise from the right-hand side of the picture");
    }
    void keys() {
        const double base = bottom_ + key_below + key_height - 1;
        const std::string zero = "0";
        write(left_px - 6 - canvas_.text_width(zero, text_px), base, zero);
        const std::string most =
            shortest(rounded(static_cast<double>(most_), 3)) + " " + cells_.unit + " of copper met, or more";
        double x = left_px + key_width + 8.0;
        write(x, base, most);
        x += canvas_.text_width(most, text_px) + 28;
        canvas_.line({{x, base - 10}, {x + 12, base - 10}, {x + 12, base + 1}, {x, base + 1}}, true,
                     LineStyle::solid, line_px, palette::contact);
        write(x + 20, base, "plating missing");
        write(left_px, base + 19,
              "A break finer than the stack's blur does not show: no break seen is not continuity.");
    }

    const WallCells& cells_;
    Canvas& canvas_;
    int tall_, bottom_, right_;
    float most_;
    GreyRange range_;
};

} // namespace

std::vector<double> spread_apart(std::vector<double> wanted, double apart, double low, double high) {
    if (wanted.empty()) return wanted;
    wanted.front() = std::max(wanted.front(), low);
    for (std::size_t i = 1; i < wanted.size(); ++i)
        wanted[i] = std::max(wanted[i], wanted[i - 1] + apart);
    wanted.back() =
        std::min(wanted.back(), std::max(high, low + apart * static_cast<double>(wanted.size() - 1)));
    for (std::size_t i = wanted.size() - 1; i-- > 0;)
        wanted[i] = std::min(wanted[i], wanted[i + 1] - apart);
    return wanted;
}

std::unique_ptr<Canvas> draw_wall_map(const WallCells& cells) {
    auto canvas = std::make_unique<Canvas>(left_px + cells.angles * cell_width + right_px,
                                           above_px + cells.depths * cell_height(cells) + below_px);
    WallMapDrawing(cells, *canvas).draw();
    return canvas;
}

} // namespace ringwall
