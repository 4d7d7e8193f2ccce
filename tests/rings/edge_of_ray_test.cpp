// SPDX-License-Identifier: Apache-2.0
// Edges that are told ray by ray, and copper too near for a gap to be told.
#include "rings/draw.hpp"
#include "rings/local_edge.hpp"
#include "rings/rings.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>

using namespace ringwall;
using drawn::Beam;

namespace {

constexpr Point middle{75.3, 74.6};
constexpr double blur_px = 1.0;

double radius(double x, double y) {
    return std::hypot(x - middle.x, y - middle.y);
}

} // namespace

TEST_CASE("a foil that noise miscounts behind one ray's edge is told by its neighbours") {
    constexpr double one = 0.86, two = 0.80;
    rings::RayFlags wanted{};
    std::array<double, rings::rays> start{}, behind{};
    for (std::size_t i = 100; i <= 160; ++i) {
        wanted[i] = true;
        start[i] = i < 150 ? 50 + 0.1 * static_cast<double>(i - 100) : 90;
        behind[i] = i < 120 ? one : two;
    }
    behind[110] = two; // one ray, then two together
    behind[130] = behind[131] = one;
    behind[150] = one; // another thing, far behind: its own rays have a say on it
    const auto agreed = rings::agreed_levels(wanted, start, behind, blur_px);
    for (std::size_t i = 100; i < 150; ++i) {
        CAPTURE(i);
        CHECK(agreed[i] == (i < 120 ? one : two)); // the step itself stays where it is
    }
    CHECK(agreed[152] == two);
    CHECK(agreed[50] == 0); // not asked for
}

TEST_CASE("a gap that the blur's own uncertainty hides is not ruled out where copper seems to touch") {
    constexpr double bore = 30, gap = 0.3;
    const Beam beam{.open = 1, .laminate = 0.73, .foil = 0.7};
    const auto board = [](double x, double y) {
        const double r = radius(x, y);
        return r < bore ? drawn::air : r < bore + gap ? 0 : 1;
    };
    const double share = (beam.laminate - beam.level(1)) / (beam.open - beam.level(1));
    // The hole's fit takes both steps for one edge, which lies a share of the gap further out.
    Hole hole = drawn::bare_hole(middle, bore + share * gap, 0.02);
    const TransmissionMap map = drawn::exposed(drawn::draw(board, beam, 150, blur_px), blur_px, 20000, 1);
    measure_ring(map, drawn::known_levels(beam, 2), hole, {});
    REQUIRE(hole.keepout.state == KeepOutState::touching);
    CHECK(hole.keepout.largest_gap_not_excluded_px >= gap);
    CHECK(hole.keepout.largest_gap_not_excluded_px < 1);
}
