// SPDX-License-Identifier: Apache-2.0
#include "pictures/hole_figures.hpp"

#include "pictures/axis.hpp"
#include "pictures/drawn_board.hpp"
#include "pictures/scale_bar.hpp"

#include <cmath>
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

/// A bare hole of 120 px (3 mm) with gaps from 30 px at 45 degrees to 60 px opposite, and a screw of 2.9 mm.
struct OneHole {
    DrawnBoard board{900, 700, 0.025};
    Screw screw;
    OneHole() {
        board.add(450, 350, 120, 30, WallState::plated, KeepOutState::ring_seen);
        for (auto& gap : hole().keepout.profile)
            gap.gap_mm = *gap.gap_px * 0.025, gap.u_mm = 0.01;
        hole().drill_mm = hole().bore_mm;
        ScrewFit fit;
        fit.resting_reach_mm = 1.5, fit.cutting_reach_mm = 1.8, fit.required_mm = 0.1;
        hole().screw = fit;
        screw.major_mm = 2.9, screw.minor_mm = 2.3;
    }
    HoleRecord& hole() { return board.record.holes.front(); }
    GreyRange range() { return display_range(board.t.view(), board.record); }
};

std::size_t count_of(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1))
        ++count;
    return count;
}

} // namespace

TEST_CASE("portrait: centred on the hole, its wall at the place that the zoom says") {
    OneHole one;
    const auto canvas = draw_portrait(one.board.t.view(), one.range(), one.board.record, one.hole());
    const double half = 60 + shown_beyond_px(one.hole()), zoom = canvas->width() / (2 * half);
    int seen = 0;
    for (int a = 0; a < 360; a += 5) {
        const double angle = a * std::acos(-1.0) / 180;
        bool found = false;
        for (double r = 60 * zoom - 2; r <= 60 * zoom + 2; r += 0.5)
            found |=
                near_colour(canvas->pixels()(static_cast<int>(canvas->width() / 2.0 + r * std::cos(angle)),
                                             static_cast<int>(canvas->width() / 2.0 - r * std::sin(angle))),
                            palette::wall);
        seen += found ? 1 : 0;
    }
    CHECK(seen >= 70); // of 72: the bar's foot may hide one
}

TEST_CASE("portrait of a hole at the picture's corner: what lies outside is drawn as panel") {
    DrawnBoard board(300, 300, 0.025);
    board.add(10, 10, 60, 20, WallState::bare, KeepOutState::ring_seen);
    const auto canvas = draw_portrait(board.t.view(), display_range(board.t.view(), board.record),
                                      board.record, board.record.holes.front());
    CHECK((canvas->pixels()(2, 2) & 0xFFFFFF) == 0x1C1E24);
}

TEST_CASE("unrolled ring: the wall is a level line, the ring's edge stands at its gap, deepest opposite") {
    OneHole one;
    const auto canvas = draw_unrolled(one.board.t.view(), one.range(), one.board.record, one.hole());
    const auto row_of = [&](int x, Colour colour) {
        for (int y = 0; y < canvas->height() - 50; ++y)
            if (near_colour(canvas->pixels()(x, y), colour)) return y;
        return -1;
    };
    const double left = 124, across = canvas->width() - left - 30;
    const auto column = [&](double angle) { return static_cast<int>(left + across * angle / 360); };
    const int wall = row_of(column(100), palette::wall);
    REQUIRE(wall > 0);
    for (const double angle : {150.0, 200.0, 250.0, 300.0})
        CHECK(std::abs(row_of(column(angle), palette::wall) - wall) <= 1);
    const int at_135 = row_of(column(135), palette::ring), at_225 = row_of(column(225), palette::ring);
    // Gaps 45 and 60 px: their distances from the wall are in that ratio, to the line's width.
    CHECK((at_225 - wall) == doctest::Approx((at_135 - wall) * 60.0 / 45).epsilon(0.05));
}

TEST_CASE("figures as SVG: the same bytes however many were drawn before, no ids of surfaces") {
    OneHole one;
    const std::string curve = gap_curve_svg(one.hole()), view = screw_view_svg(one.hole(), one.screw);
    CHECK(curve == gap_curve_svg(one.hole()));
    CHECK(view == screw_view_svg(one.hole(), one.screw));
    for (const auto& svg : {curve, view}) {
        CHECK(svg.starts_with("<?xml"));
        CHECK(svg.find("surface") == std::string::npos);
        CHECK(svg.find("<symbol") == std::string::npos); // text is outlines: readers differ on symbols
        CHECK(svg.find("</svg>") != std::string::npos);
    }
}

TEST_CASE("the gap's line breaks where there is no value, and nothing is drawn without a profile") {
    OneHole one;
    const std::string band = "fill-opacity:0.18"; // one area a stretch
    CHECK(count_of(gap_curve_svg(one.hole()), band) == 1);
    for (int a = 100; a < 140; ++a)
        one.hole().keepout.profile[static_cast<std::size_t>(a)] = {
            static_cast<double>(a), {}, {}, {}, "hidden"};
    const std::string broken = gap_curve_svg(one.hole());
    CHECK(count_of(broken, band) == 2);
    CHECK(count_of(broken, "fill-opacity:0.25") == 40); // the grey bar under what is hidden
    one.hole().keepout.profile.clear();
    CHECK(gap_curve_svg(one.hole()).empty());
}

TEST_CASE("no drawing of a screw without a screw or without a scale") {
    OneHole one;
    CHECK(screw_view_svg(one.hole(), {}).empty());
    one.hole().bore_mm = Estimate::missing("no scale");
    CHECK(screw_view_svg(one.hole(), one.screw).empty());
    one.hole().screw.reset();
    CHECK(screw_view_svg(one.hole(), one.screw).empty());
}

TEST_CASE("ticks stand at round values inside the range, written to the step's place") {
    const auto list = ticks(-0.5, 1.1, 6);
    REQUIRE(list.size() == 4);
    CHECK(list[0].text == "−0.5");
    CHECK(list[1].text == "0.0");
    CHECK(list[3].text == "1.0");
    for (const double high : {0.003, 0.7, 1.0, 6.0, 95.0, 4321.0}) {
        const auto some = ticks(0, high, 6);
        CHECK(some.size() >= 2);
        CHECK(some.size() <= 6);
    }
    CHECK(round_length(0.9) == doctest::Approx(0.5));
    CHECK(round_length(2.0) == doctest::Approx(2.0));
}
