// SPDX-License-Identifier: Apache-2.0
// Holes with metal in them: a dense disk, a ring of air, the board; drawn from geometry.
#include "holes/find.hpp"
#include "rings/draw.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;

namespace {

constexpr int size_px = 220;
constexpr double blur_px = 1.0, photons = 6000, hole_px = 66;
constexpr Point middle{110.3, 109.6};
const drawn::Beam beam{.laminate = 0.8, .foil = 0.88};

TransmissionMap pin_in_hole(double pin_px, unsigned seed) {
    const auto board = [](double x, double y) {
        const double r = std::hypot(x - middle.x, y - middle.y);
        return r < hole_px ? drawn::air : r < hole_px + 15 ? 0 : 1;
    };
    Image<float> clean = drawn::draw(board, beam, size_px, blur_px);
    const Image<float> pin = drawn::draw(
        [=](double x, double y) { return std::hypot(x - middle.x, y - middle.y) < pin_px ? 0 : drawn::air; },
        drawn::Beam{.laminate = 0.03}, size_px, blur_px);
    for (int y = 0; y < size_px; ++y)
        for (int x = 0; x < size_px; ++x)
            clean(x, y) *= pin(x, y);
    return drawn::exposed(clean, blur_px, photons, seed);
}

} // namespace

TEST_CASE("a hole with a pin in it is named filled, however wide the ring of air round the pin") {
    for (const double pin_px : {60.0, 57.0, 53.0, 49.0})
        for (const unsigned seed : {1U, 2U, 3U}) {
            CAPTURE(pin_px);
            CAPTURE(seed);
            Watch watch;
            const auto found = holes::find_holes(pin_in_hole(pin_px, seed), nullptr, watch);
            REQUIRE(found.size() == 1);
            CHECK(found.front().filled);
            CHECK(std::abs(found.front().radius_px - hole_px) < 2);
            CHECK(std::hypot(found.front().centre_px.x - middle.x, found.front().centre_px.y - middle.y) <
                  1.5);
        }
}
