// SPDX-License-Identifier: Apache-2.0
#include "pictures/wall_map.hpp"

#include "pictures/legend.hpp"
#include "pictures/overlay.hpp"

#include <cmath>
#include <cstdlib>
#include <doctest/doctest.h>

using namespace ringwall;

namespace {

constexpr int left = 60, above = 34, across = 6; ///< of the drawing, as it stands on a page

WallCells cells(int depths) {
    WallCells wall;
    wall.angles = 120, wall.depths = depths;
    wall.copper.assign(static_cast<std::size_t>(depths) * 120, 25);
    wall.missing.assign(wall.copper.size(), 0);
    wall.cell_mm = 0.025;
    wall.layers = {0.7, 12.0, 14.0, depths - 0.7};
    return wall;
}

bool is_straw(std::uint32_t pixel) { // of the print palette; the line has a faint dark border
    return (pixel >> 16 & 255) < 190 && (pixel >> 16 & 255) > (pixel & 255) + 90;
}

int straws_in_column(Canvas& canvas, int x) {
    int runs = 0;
    bool before = false;
    for (int y = 0; y < canvas.height(); ++y) {
        const bool here = is_straw(canvas.pixels()(x, y));
        runs += here && !before ? 1 : 0;
        before = here;
    }
    return runs;
}

} // namespace

TEST_CASE("the wall map: every layer's depth is marked beside the cells, missing plating is framed plum") {
    WallCells wall = cells(40);
    wall.missing[20 * 120 + 30] = 1;
    const auto canvas = draw_wall_map(wall);
    (void)canvas->png(); // finishes drawing
    const int tall = 288 / 40;
    for (const double layer : wall.layers)
        CHECK(is_straw(canvas->pixels()(left + 120 * across + 4, above + static_cast<int>(layer * tall))));
    CHECK(straws_in_column(*canvas, left + 120 * across + 4) == 4);
    const std::uint32_t frame = canvas->pixels()(left + 30 * across, above + 20 * tall + 3);
    CHECK((frame & 0xFFFFFF) == (palette::contact.r << 16 | palette::contact.g << 8 | palette::contact.b));
    const std::uint32_t inside = canvas->pixels()(left + 50 * across + 3, above + 20 * tall + 3);
    CHECK((inside & 255) == (inside >> 8 & 255)); // grey
    if (const char* folder = std::getenv("RINGWALL_KEEP_PICTURES"))
        canvas->write_png(std::filesystem::path(folder) / "wall-map.png");
}

TEST_CASE("the wall map keeps about one height, whatever the pitch: several stand on a page") {
    for (const int depths : {20, 40, 64, 140}) {
        const auto canvas = draw_wall_map(cells(depths));
        CHECK(canvas->height() > 200);
        CHECK(canvas->height() < 450);
        CHECK(canvas->width() < 1000);
    }
}

TEST_CASE("axes: depth has ticks at round lengths, the angle one every 45 degrees") {
    const auto canvas = draw_wall_map(cells(40)); // 1 mm: 0, 0.2, ... 1.0
    (void)canvas->png();
    const auto dark = [&](int x, int y) { return (canvas->pixels()(x, y) & 255) < 90; };
    const int tall = 288 / 40, bottom = above + 40 * tall;
    int ticks = 0;
    for (int y = above - 3; y < bottom + 3; ++y)
        ticks += dark(left - 4, y) && !dark(left - 4, y - 1) ? 1 : 0;
    CHECK(ticks == 6);
    int angles = 0;
    for (int x = left - 3; x < left + 120 * across + 3; ++x)
        angles += dark(x, bottom + 3) && !dark(x - 1, bottom + 3) ? 1 : 0;
    CHECK(angles == 9);
}

TEST_CASE("labels of layers near each other are moved apart, in order and inside where they fit") {
    const std::vector<double> far{10, 60, 110};
    CHECK(spread_apart(far, 16, 0, 120) == far);
    const std::vector<double> labels = spread_apart({-5, 2, 4, 118, 119}, 16, 0, 120);
    for (std::size_t i = 1; i < labels.size(); ++i)
        CHECK(labels[i] - labels[i - 1] >= 16);
    CHECK(labels.front() >= 0);
    CHECK(labels.back() <= 120);
    CHECK(spread_apart({}, 16, 0, 120).empty());
    CHECK(spread_apart({1, 2, 3}, 16, 0, 20).back() == 32); // no room: apart all the same
}

TEST_CASE("a caption is a line of its own under the picture; a layer's figure is small") {
    BoardRecord record;
    record.sources.resize(1);
    const OverlayLayout layout = overlay_layout(1600, 1200);
    const int bare = Legend(record, layout, {}).height(1600);
    const int captioned = Legend(record, layout, {}, "Layer 2 of 4 seen").height(1600);
    CHECK(captioned - bare == doctest::Approx(1.6 * layout.text).epsilon(0.05));
    Image<float> t(700, 500);
    CHECK(draw_layer_figure(t.view(), record)->width() == 800);
    CHECK(draw_overlay(t.view(), record, "Layer 2 of 4 seen")->height() >
          draw_overlay(t.view(), record)->height());
}
