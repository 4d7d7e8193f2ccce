// SPDX-License-Identifier: Apache-2.0
#include "pictures/side_by_side.hpp"

#include "compare/drawn_records.hpp"
#include "pictures/laid_into.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

/// A record of holes and the same board turned a quarter, mirrored and 1.25 times larger; px alone.
struct Turned {
    BoardRecord old_board = record_board("A", 0.025, 0.002), revised_board = record_board("B", 0.02, 0.002);
    Similarity by{0, 1.25, 400, 30, true};
    Turned() {
        const Point places[] = {{60, 50}, {340, 62}, {120, 210}, {300, 250}, {210, 140}, {90, 130}};
        for (const Point& at : places) {
            const std::string id = "H" + std::to_string(old_board.holes.size() + 1);
            const Point there = by(at);
            old_board.holes.push_back(record_hole(id, at, 30, 10, 0.025, 0.002, 0.05));
            revised_board.holes.push_back(record_hole(id, there, 37.5, 12.5, 0.02, 0.002, 0.05));
        }
        for (BoardRecord* board : {&old_board, &revised_board})
            board->sources.front().width_px = 400, board->sources.front().height_px = 300;
        revised_board.sources.front().width_px = 800, revised_board.sources.front().height_px = 560;
    }
};

/// Every pixel says where it lies.
Image<float> picture(int width, int height) {
    Image<float> t(width, height);
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            t(x, y) = static_cast<float>(0.1 + 0.5 * x / width + 0.3 * y / height);
    return t;
}

} // namespace

TEST_CASE("a hole laid into the old picture lies, turns and measures as the old one") {
    const Turned boards;
    const Comparison comparison = compare_boards(boards.old_board, boards.revised_board);
    REQUIRE(comparison.alignment.fit);
    const compare::Frame frame(boards.old_board, boards.revised_board, comparison.alignment);
    HoleRecord revised = boards.revised_board.holes[1];
    // A direction on the old board, and where the similarity turns it, angles anticlockwise with y down.
    const Point from = boards.by({100, 100}), to = boards.by({110, 100});
    const double there = std::atan2(-(to.y - from.y), to.x - from.x) * 180 / std::numbers::pi;
    revised.keepout.min_angle_deg = there;
    revised.keepout.touching_arcs_deg = {{there - 10, there + 30}};
    const HoleRecord laid = laid_into_old(revised, frame, comparison.alignment.fit->similarity);
    CHECK(std::abs(laid.x_px - boards.old_board.holes[1].x_px) < 1e-6);
    CHECK(std::abs(laid.y_px - boards.old_board.holes[1].y_px) < 1e-6);
    CHECK(std::abs(laid.bore_px.value() - 30) < 1e-6);
    CHECK(std::abs(laid.keepout.min_px.value() - 10) < 1e-6);
    CHECK(std::abs(std::remainder(*laid.keepout.min_angle_deg, 360)) < 1e-6); // along +x again
    CHECK(std::abs(laid.keepout.touching_arcs_deg[0].from_deg - 330) < 1e-6); // mirrored: runs the other way
    CHECK(std::abs(laid.keepout.touching_arcs_deg[0].to_deg - 10) < 1e-6);
}

TEST_CASE("both panels show the same place of the board at the same place") {
    Turned boards;
    boards.revised_board.holes.pop_back(); // one dropped
    const Comparison comparison = compare_boards(boards.old_board, boards.revised_board);
    REQUIRE(comparison.alignment.fit);
    const Image<float> old_t = picture(400, 300);
    Image<float> revised_t(800, 560); // the old picture as the revised one would show it
    for (int y = 0; y < 560; ++y)
        for (int x = 0; x < 800; ++x) {
            const Point old{(y - 30) / 1.25, (x - 400) / 1.25};
            revised_t(x, y) = static_cast<float>(0.1 + 0.5 * old.x / 400 + 0.3 * old.y / 300);
        }
    const auto canvas = draw_side_by_side({old_t.view(), &boards.old_board},
                                          {revised_t.view(), &boards.revised_board}, comparison);
    // Brighter to the right and downwards in both, since the revised one is turned back.
    const int half = canvas->width() / 2;
    const auto grey = [&](int x, int y) { return static_cast<int>(canvas->pixels()(x, y) & 0xFF); };
    const int y = 300;
    for (const int start : {40, half + 40}) {
        CHECK(grey(start + 1000, y) > grey(start, y) + 20);
        CHECK(grey(start, y + 600) > grey(start, y) + 10);
    }
}

TEST_CASE("without pictures the holes are drawn alone") {
    const Turned boards;
    const Comparison comparison = compare_boards(boards.old_board, boards.revised_board);
    const auto canvas = draw_side_by_side({{}, &boards.old_board}, {{}, &boards.revised_board}, comparison);
    CHECK(canvas->width() > 600);
    CHECK_FALSE(canvas->png().empty());
}
