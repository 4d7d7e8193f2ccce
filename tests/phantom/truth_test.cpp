// SPDX-License-Identifier: Apache-2.0
#include "ringwall/phantom.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

using namespace ringwall;
using namespace ringwall::phantom;

namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180;

Drill drill(Point centre, double drill_mm, double plating_um = 0) {
    Drill d;
    d.centre_mm = centre;
    d.drill_mm = drill_mm;
    d.plating_um = plating_um;
    return d;
}

/// A poured layer with one round opening.
CopperLayer plane(Point opening, double radius_mm) {
    CopperLayer layer;
    layer.poured = true;
    layer.strokes = {{Circle{opening, radius_mm}, false}};
    return layer;
}

Board board_with(std::vector<CopperLayer> layers, Drill d) {
    Board board;
    board.width_mm = 20;
    board.height_mm = 20;
    board.layers = std::move(layers);
    board.drills = {std::move(d)};
    return board;
}

HoleTruth only_truth(const Board& board) {
    const auto truths = truth(board);
    REQUIRE(truths.size() == 1);
    return truths[0];
}

/// Distance from a point along a direction to a circle around it: closed form.
double to_circle(Point from, double angle_deg, Point centre, double radius) {
    const double ux = std::cos(angle_deg * degree), uy = -std::sin(angle_deg * degree);
    const double qx = from.x - centre.x, qy = from.y - centre.y;
    const double b = qx * ux + qy * uy;
    return -b + std::sqrt(b * b - qx * qx - qy * qy + radius * radius);
}

} // namespace

TEST_CASE("bare hole off-centre in its ring: every ray in closed form") {
    const Point hole{10, 10}, ring{10.15, 9.90};
    const HoleTruth found = only_truth(board_with({plane(ring, 2.1)}, drill(hole, 3.2)));
    for (int a = 0; a < 360; ++a)
        CHECK(found.gap_mm[static_cast<std::size_t>(a)] ==
              doctest::Approx(to_circle(hole, a, ring, 2.1) - 1.6).epsilon(1e-7));
    CHECK(found.keepout_mm == doctest::Approx(2.1 - 1.6 - std::hypot(0.15, 0.10)).epsilon(1e-6));
    // Nearest opposite to the ring's offset, (-0.15, +0.10) px: 180 + 33.69 degrees as seen.
    CHECK(found.keepout_angle_deg == doctest::Approx(180 + std::atan2(0.10, 0.15) / degree).epsilon(1e-3));
    CHECK(found.bore_mm == 3.2);
    CHECK(found.furthest_void_mm == doctest::Approx(1.6).epsilon(1e-9));
    CHECK_FALSE(found.touching);
    CHECK_FALSE(found.runs_on);
    CHECK(found.own_outer_mm == 0);
    CHECK(found.covered_fraction == 0);
    CHECK(found.round);
    CHECK(found.seen_fraction == 1);
}

TEST_CASE("a ring gone over an arc touches exactly there") {
    // Ring of radius 1.9 whose centre lies 0.4 to the right: copper at the wall left of the two circles'
    // crossings.
    const Point hole{10, 10}, ring{10.4, 10};
    const HoleTruth found = only_truth(board_with({plane(ring, 1.9)}, drill(hole, 3.2)));
    CHECK(found.touching);
    CHECK(found.keepout_mm == 0);
    CHECK(found.keepout_angle_deg == doctest::Approx(180).epsilon(0.01));
    REQUIRE(found.touching_arcs_deg.size() == 1);
    // Crossing of circles r = 1.6 about 0 and R = 1.9 about 0.4: cos a = (r^2 + d^2 - R^2) / (2 r d).
    const double crossing = std::acos((1.6 * 1.6 + 0.4 * 0.4 - 1.9 * 1.9) / (2 * 1.6 * 0.4)) / degree;
    CHECK(std::abs(found.touching_arcs_deg[0].first - crossing) <= 1);
    CHECK(std::abs(found.touching_arcs_deg[0].second - (360 - crossing)) <= 1);
}

TEST_CASE("no ring at all touches all round") {
    CopperLayer layer;
    layer.poured = true;
    const HoleTruth found = only_truth(board_with({layer}, drill({10, 10}, 3.2)));
    CHECK(found.touching_arcs_deg == std::vector<std::pair<double, double>>{{0, 360}});
}

TEST_CASE("the nearest layer counts, each layer is told by itself") {
    const Point hole{10, 10};
    const HoleTruth found =
        only_truth(board_with({plane(hole, 2.6), plane(hole, 2.2), plane(hole, 3.0)}, drill(hole, 3.2)));
    CHECK(found.keepout_mm == doctest::Approx(0.6).epsilon(1e-6));
    REQUIRE(found.layers.size() == 3);
    CHECK(found.layers[0].keepout_mm == doctest::Approx(1.0).epsilon(1e-6));
    CHECK(found.layers[2].gap_mm[77] == doctest::Approx(1.4).epsilon(1e-6));
}

TEST_CASE("none in view") {
    const HoleTruth found = only_truth(board_with({CopperLayer{}}, drill({10, 10}, 3.2)));
    CHECK(found.keepout_mm == -1);
    CHECK(std::all_of(found.gap_mm.begin(), found.gap_mm.end(), [](double gap) { return gap < 0; }));
}

TEST_CASE("a trace that passes and a trace that ends: the true nearest distance") {
    Board board = board_with({CopperLayer{}}, drill({10, 10}, 3.2));
    board.layers[0].strokes = {{Track{{5, 12.2}, {15, 12.2}, 0.2}, true}};
    CHECK(only_truth(board).keepout_mm == doctest::Approx(2.2 - 0.1 - 1.6).epsilon(1e-6));
    CHECK(only_truth(board).keepout_angle_deg == doctest::Approx(270).epsilon(1e-3));
    board.layers[0].strokes.push_back({Track{{12.03, 10.4}, {17, 10.4}, 0.2}, true});
    CHECK(only_truth(board).keepout_mm == doctest::Approx(std::hypot(2.03, 0.4) - 0.1 - 1.6).epsilon(1e-6));
}

TEST_CASE("lands and spokes are own copper; the gap goes on to what is not") {
    const Point hole{10, 10};
    CopperLayer outside; // land in a pour, apart from it
    outside.poured = true;
    outside.strokes = {{Circle{hole, 2.8}, false}, {Circle{hole, 2.2}, true}};
    const HoleTruth apart = only_truth(board_with({outside, plane(hole, 2.5)}, drill(hole, 3.2, 25)));
    CHECK_FALSE(apart.runs_on);
    CHECK(apart.covered_fraction == 1);
    CHECK(apart.bore_mm == doctest::Approx(3.15));
    CHECK(apart.furthest_void_mm == doctest::Approx(1.575).epsilon(1e-9));
    CHECK(apart.own_outer_mm == doctest::Approx(2.2).epsilon(1e-7));
    CHECK(apart.land_mm == doctest::Approx(2.2).epsilon(1e-7));
    CHECK(apart.layers[0].keepout_mm == doctest::Approx(2.8 - 1.6).epsilon(1e-6));
    CHECK(apart.keepout_mm == doctest::Approx(2.5 - 1.6).epsilon(1e-6));

    CopperLayer spoked = outside;
    for (const double angle : {0.0, 90.0, 180.0, 270.0}) {
        const Point unit{std::cos(angle * degree), -std::sin(angle * degree)};
        spoked.strokes.push_back(
            {Track{{10 + 2 * unit.x, 10 + 2 * unit.y}, {10 + 3 * unit.x, 10 + 3 * unit.y}, 0.4}, true});
    }
    const HoleTruth joined = only_truth(board_with({spoked, plane(hole, 2.5)}, drill(hole, 3.2, 25)));
    CHECK(joined.runs_on);
    CHECK(joined.layers[0].keepout_mm == -1); // all of that layer is the hole's own
    CHECK(joined.keepout_mm == doctest::Approx(0.9).epsilon(1e-6));
    REQUIRE(joined.runs_on_arcs_deg.size() == 4);
    // A spoke 0.4 wide crosses the opening's edge at 2.8: half width asin(0.2 / 2.8) = 4.1 degrees.
    CHECK(joined.runs_on_arcs_deg[0].second - joined.runs_on_arcs_deg[0].first ==
          doctest::Approx(8.2).epsilon(0.13));
    CHECK(joined.land_mm == doctest::Approx(2.2).epsilon(1e-7));
}

TEST_CASE("copper joined far away is own copper all the same") {
    // A trace leaves the land, runs round and comes back near the hole.
    const Point hole{10, 10};
    CopperLayer layer;
    layer.strokes = {{Circle{hole, 2.0}, true},
                     {Track{{10, 10}, {16, 10}, 0.3}, true},
                     {Track{{16, 10}, {16, 13}, 0.3}, true},
                     {Track{{16, 13}, {5, 13}, 0.3}, true},
                     {Track{{5, 7}, {15, 7}, 0.3}, true}}; // another net
    const HoleTruth found = only_truth(board_with({layer}, drill(hole, 3.2, 30)));
    CHECK(found.gap_mm[270] == -1);
    CHECK(found.gap_mm[90] == doctest::Approx(3 - 0.15 - 1.6).epsilon(1e-6));
    CHECK(found.keepout_mm == doctest::Approx(3 - 0.15 - 1.6).epsilon(1e-6));
    CHECK_FALSE(found.runs_on); // a trace is no plane
}

TEST_CASE("a bite counts from its furthest void, and may open the ring") {
    const Point hole{10, 10};
    Drill bitten = drill(hole, 3.2);
    bitten.bites = {{90, 0.3}};
    const HoleTruth found = only_truth(board_with({plane(hole, 2.1)}, bitten));
    CHECK_FALSE(found.round);
    CHECK(found.furthest_void_mm == doctest::Approx(1.9).epsilon(1e-9));
    CHECK(found.wall_radius_mm[90] == doctest::Approx(1.9).epsilon(1e-9));
    CHECK(found.wall_radius_mm[0] == doctest::Approx(1.6).epsilon(1e-9));
    CHECK(found.gap_mm[90] == doctest::Approx(0.2).epsilon(1e-6));
    CHECK(found.keepout_mm == doctest::Approx(0.2).epsilon(1e-6));
    bitten.bites = {{90, 0.6}};
    const HoleTruth open = only_truth(board_with({plane(hole, 2.1)}, bitten));
    CHECK(open.touching);
    REQUIRE(open.touching_arcs_deg.size() == 1);
    // The bite (0.6 about 1.6) crosses the ring (2.1) where cos a = (2.1^2 + 1.6^2 - 0.6^2) / (2 * 2.1
    // * 1.6).
    const double half = std::acos((2.1 * 2.1 + 1.6 * 1.6 - 0.36) / (2 * 2.1 * 1.6)) / degree;
    CHECK(std::abs(open.touching_arcs_deg[0].first - (90 - half)) <= 1);
    CHECK(std::abs(open.touching_arcs_deg[0].second - (90 + half)) <= 1);
}

TEST_CASE("a barrel with an arc missing") {
    Drill worn = drill({10, 10}, 3.2, 25);
    worn.missing_arcs_deg = {{350, 410}};
    const HoleTruth found = only_truth(board_with({plane({10, 10}, 2.4)}, worn));
    CHECK(found.covered_fraction == doctest::Approx(300.0 / 360).epsilon(0.004));
    REQUIRE(found.missing_arcs_deg.size() == 1);
    CHECK(std::abs(found.missing_arcs_deg[0].first - 350) <= 1);
    CHECK(std::abs(found.missing_arcs_deg[0].second - 410) <= 1);
    CHECK(found.air_radius_mm[20] == doctest::Approx(1.6).epsilon(1e-9));
    CHECK(found.air_radius_mm[200] == doctest::Approx(1.575).epsilon(1e-9));
    CHECK(found.furthest_void_mm == doctest::Approx(1.6).epsilon(1e-9));
}

TEST_CASE("an oval hole and a slot") {
    Drill oval = drill({10, 10}, 3.2);
    oval.oval_mm = 0.1;
    oval.oval_axis_deg = 30;
    const HoleTruth found = only_truth(board_with({plane({10, 10}, 2.1)}, oval));
    CHECK(found.furthest_void_mm == doctest::Approx(1.7).epsilon(1e-7));
    CHECK(found.air_radius_mm[30] == doctest::Approx(1.7).epsilon(1e-7));
    CHECK(found.air_radius_mm[120] == doctest::Approx(1.5).epsilon(1e-7));
    CHECK(found.keepout_mm == doctest::Approx(0.4).epsilon(1e-6));

    Drill slot = drill({9, 10}, 1.2);
    slot.is_slot = true;
    slot.slot_to_mm = {11, 10};
    Board board = board_with({CopperLayer{}}, slot);
    board.layers[0].strokes = {{Track{{4, 11.5}, {16, 11.5}, 0.2}, true}};
    const HoleTruth slotted = only_truth(board);
    CHECK(slotted.slot);
    CHECK(slotted.keepout_mm == doctest::Approx(1.5 - 0.1 - 0.6).epsilon(1e-6));
    CHECK(slotted.centre_mm.x == doctest::Approx(10));
}

TEST_CASE("parts hide what lies behind them") {
    Board board = board_with({plane({10, 10}, 2.1)}, drill({10, 10}, 3.2));
    board.parts = {{Circle{{11.8, 10}, 0.6}, tin(), 0.5}};
    const HoleTruth found = only_truth(board);
    // The part covers the wall's circle where 2 * 1.6 * 1.8 cos a >= 1.6^2 + 1.8^2 - 0.6^2.
    const double half = std::acos((1.6 * 1.6 + 1.8 * 1.8 - 0.36) / (2 * 1.6 * 1.8)) / degree;
    CHECK(found.seen_fraction == doctest::Approx(1 - half / 180).epsilon(0.01));
    CHECK(found.gap_hidden[0]);
    CHECK_FALSE(found.gap_hidden[60]);
    CHECK(found.gap_mm[0] == doctest::Approx(0.5).epsilon(1e-6)); // hidden, but there
}

TEST_CASE("turning the board turns the truth with it") {
    Drill bitten = drill({9, 11}, 3.2, 25);
    bitten.missing_arcs_deg = {{100, 130}};
    Board board = board_with({plane({9.2, 11.1}, 2.2)}, bitten);
    const HoleTruth before = only_truth(board), after = only_truth(laid_down(board, 30, {0.5, -0.25}));
    CHECK(after.keepout_mm == doctest::Approx(before.keepout_mm).epsilon(1e-6));
    CHECK(after.keepout_angle_deg == doctest::Approx(before.keepout_angle_deg + 30).epsilon(1e-3));
    for (int a = 0; a < 330; ++a)
        CHECK(after.gap_mm[static_cast<std::size_t>(a + 30)] ==
              doctest::Approx(before.gap_mm[static_cast<std::size_t>(a)]).epsilon(1e-6));
    // (9, 11) lies (-1, 1) from the middle: turned by 30 degrees as seen.
    CHECK(after.centre_mm.x == doctest::Approx(10 - std::cos(pi / 6) + std::sin(pi / 6) + 0.5));
    CHECK(after.centre_mm.y == doctest::Approx(10 + std::sin(pi / 6) + std::cos(pi / 6) - 0.25));
}
