// SPDX-License-Identifier: Apache-2.0
#include "pictures/wall_map.hpp"

#include "core/text.hpp"
#include "pictures/grey.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr int cell_px = 6, left_px = 70, below_px = 44, above_px = 24;
constexpr double text_px = 12;

std::uint32_t packed(Colour c) {
    return 0xFF000000U | static_cast<std::uint32_t>(c.r) << 16 | static_cast<std::uint32_t>(c.g) << 8 | c.b;
}

/// From no copper to twice the usual.
GreyRange range_of(const WallCells& cells) {
    std::vector<float> values = cells.copper_um;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return GreyRange::of(0, std::max(2 * *middle, 5.0F));
}

void paint_cells(const WallCells& cells, Canvas& canvas) {
    const GreyRange range = range_of(cells);
    const ImageView<std::uint32_t> pixels = canvas.pixels();
    for (int y = 0; y < pixels.height(); ++y)
        for (int x = 0; x < pixels.width(); ++x) {
            const int d = (y - above_px) / cell_px, a = (x - left_px) / cell_px;
            const bool inside = y >= above_px && x >= left_px && d < cells.depths && a < cells.angles;
            if (!inside) {
                pixels(x, y) = packed(palette::panel);
                continue;
            }
            const auto at = static_cast<std::size_t>(d) * static_cast<std::size_t>(cells.angles) +
                            static_cast<std::size_t>(a);
            const bool frame = (x - left_px) % cell_px == 0 || (y - above_px) % cell_px == 0;
            pixels(x, y) = cells.missing[at] != 0 && frame ? packed(palette::contact)
                                                           : grey_of(cells.copper_um[at], range);
        }
}

void write_scales(const WallCells& cells, Canvas& canvas) {
    for (int degrees = 0; degrees <= 360; degrees += 90)
        canvas.text(left_px + cells.angles * cell_px * degrees / 360.0 - 10,
                    above_px + cells.depths * cell_px + 16, std::to_string(degrees) + "°", text_px,
                    palette::ink, false);
    for (std::size_t k = 0; k < cells.layers.size(); ++k) {
        const double y = above_px + cells.layers[k] * cell_px;
        canvas.line({{left_px - 8.0, y}, {left_px - 2.0, y}}, false, LineStyle::solid, 1.5, palette::ink);
        canvas.text(6, y + 4, "layer " + std::to_string(k + 1), text_px, palette::ink, false);
    }
    const std::string depth = cells.cell_mm
                                  ? shortest(std::round(*cells.cell_mm * cells.depths * 1000) / 1000) + " mm"
                                  : std::to_string(cells.depths) + " slices";
    canvas.text(left_px, 16,
                "Copper in the wall: light much, dark none; plum: plating missing. Depth " + depth +
                    ", down from the low face.",
                text_px, palette::ink, false);
    canvas.text(left_px, above_px + cells.depths * cell_px + 34,
                "Angle across, anticlockwise. No break seen is not continuity.", text_px, palette::ink,
                false);
}

} // namespace

std::unique_ptr<Canvas> draw_wall_map(const WallCells& cells) {
    auto canvas = std::make_unique<Canvas>(left_px + cells.angles * cell_px + 20,
                                           above_px + cells.depths * cell_px + below_px);
    paint_cells(cells, *canvas);
    write_scales(cells, *canvas);
    return canvas;
}

} // namespace ringwall
