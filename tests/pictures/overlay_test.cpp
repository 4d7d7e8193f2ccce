// SPDX-License-Identifier: Apache-2.0
#include "pictures/drawn_board.hpp"
#include "pictures/hole_marks.hpp"
#include "pictures/legend.hpp"
#include "pictures/overlay.hpp"

#include <cstdlib>
#include <doctest/doctest.h>

using namespace ringwall;
using ringwall::test::DrawnBoard;

namespace {

bool near_colour(std::uint32_t pixel, Colour c) {
    const auto off = [](std::uint32_t a, std::uint8_t b) {
        return std::abs(static_cast<int>(a & 0xFF) - b) < 40;
    };
    return off(pixel >> 16, c.r) && off(pixel >> 8, c.g) && off(pixel, c.b);
}

/// Share of the turn in which the colour stands within 2 px of the radius.
double share_of_turn(Canvas& canvas, const OverlayLayout& layout, Point centre, double radius,
                     Colour colour) {
    int seen = 0;
    for (int a = 0; a < 360; ++a) {
        bool found = false;
        for (double r = radius - 2; r <= radius + 2; r += 0.5) {
            const double angle = a * std::acos(-1.0) / 180;
            const Point at = layout.at({centre.x + r * std::cos(angle), centre.y - r * std::sin(angle)});
            found |= near_colour(canvas.pixels()(static_cast<int>(at.x), static_cast<int>(at.y)), colour);
        }
        seen += found ? 1 : 0;
    }
    return seen / 360.0;
}

DrawnBoard crowded_board() {
    DrawnBoard board(1600, 1000, 0.025);
    board.add(300, 300, 130, 20, WallState::bare, KeepOutState::ring_seen);
    board.add(800, 300, 130, 40, WallState::plated, KeepOutState::ring_seen);
    auto& touching = board.add(1300, 300, 130, 0, WallState::bare, KeepOutState::touching);
    touching.keepout.touching_arcs_deg = {{330, 30}};
    touching.keepout.min_mm = Estimate::of(0, 0.01);
    auto& runs_on = board.add(300, 720, 130, 15, WallState::plated, KeepOutState::runs_on);
    runs_on.keepout.runs_on_arcs_deg = {{0, 40}, {90, 130}, {180, 220}, {270, 310}};
    auto& incomplete = board.add(800, 720, 130, 25, WallState::incomplete, KeepOutState::undecided);
    incomplete.hidden_arcs_deg = {{100, 200}};
    board.add(1300, 720, 130, 30, WallState::undecided, KeepOutState::none_in_view);
    for (int i = 0; i < 60; ++i)
        board.add_via(460 + 22 * (i % 12), 500 + 22 * (i / 12), 12);
    return board;
}

} // namespace

TEST_CASE("what was measured stands on the picture where it was measured") {
    DrawnBoard board = crowded_board();
    const auto canvas = draw_overlay(board.t.view(), board.record);
    if (const char* keep = std::getenv("RINGWALL_KEEP_PICTURES"))
        canvas->write_png(std::filesystem::path(keep) / "crowded.png");
    const OverlayLayout layout = overlay_layout(1600, 1000);
    CHECK(share_of_turn(*canvas, layout, {800, 300}, 65, palette::wall) >
          0.95); // plated: a whole line, but for the bar's foot
    const double bare = share_of_turn(*canvas, layout, {300, 300}, 65, palette::wall);
    CHECK(bare > 0.4);
    CHECK(bare < 0.8);      // dashed
    bool ring_at_0 = false; // gap at 0 degrees: 40 (1.5 - 0.5 cos 45) = 45.86 px beyond the wall at 65 px
    for (int x = 909; x <= 912; ++x)
        ring_at_0 |= near_colour(canvas->pixels()(x, 300), palette::ring);
    CHECK(ring_at_0);
    CHECK(share_of_turn(*canvas, layout, {1300, 300}, 66.5, palette::contact) ==
          doctest::Approx(60.0 / 360).epsilon(0.1));
}

TEST_CASE("away from holes and labels the picture is only grey, and its range is stretched") {
    DrawnBoard board(1200, 800, 0.025);
    board.add(600, 400, 100, 20, WallState::plated, KeepOutState::ring_seen);
    const auto canvas = draw_overlay(board.t.view(), board.record);
    for (int y = 0; y < 200; y += 3) {
        for (int x = 0; x < 1200; x += 3) {
            const std::uint32_t p = canvas->pixels()(x, y);
            REQUIRE((p >> 16 & 0xFF) == (p & 0xFF));
            REQUIRE((p >> 8 & 0xFF) == (p & 0xFF));
        }
    }
    CHECK(canvas->pixels()(1200, 780) % 256 >
          200); // the open hole is light; two canvas pixels a picture pixel
    CHECK(canvas->pixels()(10, 10) % 256 < 60);
    CHECK(canvas->height() > 1600); // the legend
}

TEST_CASE("small pictures are drawn larger by whole pixels, huge ones smaller") {
    CHECK(overlay_layout(300, 200).zoom == 4);
    CHECK(overlay_layout(1200, 683).zoom == 2);
    CHECK(overlay_layout(1600, 900).zoom == 1);
    CHECK(overlay_layout(4096, 4096).zoom == 1);
    CHECK(overlay_layout(4096, 4096).text > 30);
    CHECK(overlay_layout(40000, 10).picture_width == 16000);
    CHECK(overlay_layout(1, 1).picture_width == 4);
    CHECK(overlay_layout(4096, 4096, 10).label_text == overlay_layout(4096, 4096).text);
    CHECK(overlay_layout(4096, 4096, 1000).label_text ==
          doctest::Approx(overlay_layout(4096, 4096).text * 0.75));
}

TEST_CASE("nothing measured, no scale, values that are no numbers: still a picture") {
    DrawnBoard board(64, 48, 0);
    board.t(5, 5) = std::nanf("");
    board.record.why_nothing = "no hole was found in this picture";
    const auto canvas = draw_overlay(board.t.view(), board.record);
    CHECK(canvas->width() >= 64 * 4);
    Image<float> flat(10, 10);
    CHECK(draw_overlay(flat.view(), board.record)->height() > 10);
}

TEST_CASE("a hole without foreign copper has copper of its own: the label says other copper") {
    DrawnBoard board(400, 300, 0.025);
    CHECK(keepout_text(board.add(200, 150, 100, 20, WallState::plated, KeepOutState::none_in_view)) ==
          "no other copper in view");
}

TEST_CASE("labels say value, U and unit") {
    DrawnBoard board(400, 300, 0.025);
    const HoleRecord& hole = board.add(200, 150, 100, 20, WallState::bare, KeepOutState::ring_seen);
    CHECK(bore_text(hole) == "Ø2.500 ±0.050 mm");
    CHECK(keepout_text(hole) == "keep-out 0.500 ±0.011 mm");
    DrawnBoard in_px(400, 300, 0);
    CHECK(bore_text(in_px.add(200, 150, 100, 20, WallState::bare, KeepOutState::ring_seen)) ==
          "Ø100.00 ±0.10 px");
}

TEST_CASE(
    "where own copper runs on, the label and the bar give the distance to the next copper all the same") {
    DrawnBoard board(400, 300, 0.025);
    HoleRecord& hole = board.add(200, 150, 100, 20, WallState::plated, KeepOutState::ring_seen);
    hole.keepout.state = KeepOutState::runs_on;
    CHECK(keepout_text(hole) == "runs on; keep-out 0.500 ±0.011 mm");
    hole.keepout.min_px = hole.keepout.min_mm = Estimate::missing("none");
    CHECK(keepout_text(hole) == "own copper runs on");
}

TEST_CASE("a ring's line ends where no copper was met: open beam behind it, or the picture's end") {
    DrawnBoard board(600, 400, 0.025);
    HoleRecord& hole = board.add(300, 200, 100, 30, WallState::bare, KeepOutState::ring_seen);
    for (auto& gap : hole.keepout.profile)
        gap.gap_px = 30;
    board.punch(300, 200, 80, 0.8F);
    board.punch(300, 200, 50, 0.98F);
    for (int y = 0; y < 400; ++y) // the board ends right of the ring
        for (int x = 365; x < 600; ++x)
            board.t(x, y) = 0.98F;
    const HoleRecord shown = shown_part(hole, board.t.view());
    CHECK_FALSE(shown.keepout.profile[0].gap_px);
    CHECK_FALSE(shown.keepout.profile[20].gap_px);
    CHECK(shown.keepout.profile[60].gap_px); // the edge crosses the ring at acos(65 / 80), 36 degrees
    CHECK(shown.keepout.profile[180].gap_px);
    const auto canvas = draw_overlay(board.t.view(), board.record);
    const OverlayLayout layout = overlay_layout(600, 400, 1);
    CHECK(share_of_turn(*canvas, layout, {300, 200}, 80, palette::ring) ==
          doctest::Approx(1 - 72.0 / 360).epsilon(0.08));

    HoleRecord at_the_end = hole;
    at_the_end.x_px = 30; // the ring leaves the picture to the left
    CHECK_FALSE(shown_part(at_the_end, board.t.view()).keepout.profile[180].gap_px);
}

TEST_CASE("hidden parts under three degrees are not drawn: a single dot looks like dirt") {
    DrawnBoard board(400, 300, 0.025);
    HoleRecord& hole = board.add(200, 150, 100, 20, WallState::bare, KeepOutState::ring_seen);
    hole.hidden_arcs_deg = {{10, 11.5}, {100, 140}, {359, 1}};
    CHECK(shown_part(hole, board.t.view()).hidden_arcs_deg == std::vector<Arc>{{100, 140}});
    hole.hidden_arcs_deg = {{0, 0}}; // the whole turn
    CHECK(shown_part(hole, board.t.view()).hidden_arcs_deg.size() == 1);
}

TEST_CASE("a burnt-in label far brighter than the open beam does not take the grey range") {
    DrawnBoard board(600, 400, 0.025);
    board.add(300, 200, 100, 30, WallState::bare, KeepOutState::ring_seen);
    const auto plain = draw_overlay(board.t.view(), board.record);
    for (int y = 10; y < 60; ++y)
        for (int x = 10; x < 200; ++x)
            board.t(x, y) = 4;
    const auto labelled = draw_overlay(board.t.view(), board.record);
    const int zoom = static_cast<int>(overlay_layout(600, 400, 1).zoom);
    const auto grey = [&](const std::unique_ptr<Canvas>& canvas, int x, int y) {
        return static_cast<int>(canvas->pixels()(x * zoom, y * zoom) & 0xFF);
    };
    CHECK(grey(labelled, 300, 180) > 180); // open beam in the hole
    CHECK(grey(labelled, 300, 180) - grey(labelled, 550, 350) >
          0.8 * (grey(plain, 300, 180) - grey(plain, 550, 350)));
}

TEST_CASE(
    "the legend warns of thin copper, of holes not found and of a picture turned over, and grows with it") {
    DrawnBoard board(600, 400, 0.025);
    board.add(300, 200, 100, 30, WallState::bare, KeepOutState::ring_seen);
    const OverlayLayout layout = overlay_layout(600, 400, 1);
    const int before = Legend(board.record, layout, {}).height(layout.picture_width);
    board.record.sources.front().dense = DenseSide::bright;
    const int turned = Legend(board.record, layout, {}).height(layout.picture_width);
    CHECK(turned > before);
    board.record.sources.front().warnings = {"copper down to 11 µm must be assumed, and more words"};
    const int thin = Legend(board.record, layout, {}).height(layout.picture_width);
    CHECK(thin > turned);
    CHECK(Legend(board.record, layout, {1, 1}).height(layout.picture_width) > thin);
    // A file name wider than the panel is broken into rows.
    board.record.sources.front().file = std::string(300, 'w') + ".tif";
    CHECK(Legend(board.record, layout, {}).height(layout.picture_width) > thin + layout.text);
}
