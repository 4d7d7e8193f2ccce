// SPDX-License-Identifier: Apache-2.0
// Contract: the drill diameter of a bare wall equals the bore.
#include "holes/fit.hpp"
#include "rings/draw.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;

TEST_CASE("a bare hole's drill diameter is its bore, round or worn out of round") {
    constexpr int size_px = 160;
    constexpr double blur_px = 1.1;
    constexpr Point middle{80.3, 79.6};
    const drawn::Beam beam{.laminate = 0.8, .foil = 0.88};
    HolePriors priors;
    priors.shared = {std::sqrt(blur_px * blur_px + 1.0 / 12), beam.barrel}; // the pixel's area blurs as well
    priors.blur_known = priors.barrel_known = true;
    for (const double worn_px : {0.0, 2.5}) {
        CAPTURE(worn_px);
        const auto board = [=](double x, double y) {
            const double away = std::hypot(x - middle.x, y - middle.y);
            const double bite = std::hypot(x - middle.x - 16 - worn_px, y - middle.y); // reaches worn_px out
            return away < 24 || bite < 8 ? drawn::air : 0;
        };
        const auto map = drawn::exposed(drawn::draw(board, beam, size_px, blur_px), blur_px, 6000, 5);
        const HoleCandidate candidate{.centre_px = {middle.x + 0.4, middle.y - 0.3}, .radius_px = 24.4};
        const Hole hole = fit_hole(map, drawn::known_levels(beam, 1), priors, candidate);
        REQUIRE(hole.wall.state == WallState::bare);
        CHECK(hole.shape == (worn_px > 0 ? HoleShape::out_of_round : HoleShape::round));
        REQUIRE(hole.bore_px);
        REQUIRE(hole.drill_px);
        CHECK(hole.drill_px.value() == hole.bore_px.value());
        CHECK(hole.drill_px.u() == hole.bore_px.u());
    }
}
