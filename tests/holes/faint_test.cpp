// SPDX-License-Identifier: Apache-2.0
// Holes whose edge is a step of about one sigma of a pixel, and parts in front of one: drawn from geometry.
#include "holes/fit.hpp"
#include "holes/rim_start.hpp"
#include "rings/draw.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;

namespace {

constexpr int size_px = 160;
constexpr double blur_px = 1.5, bore_px = 80;
constexpr Point middle{80.3, 79.6};

HolePriors known_priors(const drawn::Beam& beam) {
    HolePriors priors;
    priors.shared = {std::sqrt(blur_px * blur_px + 1.0 / 12), beam.barrel}; // the pixel's area blurs as well
    priors.blur_known = priors.barrel_known = true;
    return priors;
}

Image<float> drawn_hole(const drawn::Beam& beam, double wall_px) {
    return drawn::draw(
        [=](double x, double y) {
            const double r = std::hypot(x - middle.x, y - middle.y);
            return r < bore_px / 2 ? drawn::air : r < bore_px / 2 + wall_px ? drawn::plating : 0;
        },
        beam, size_px, blur_px);
}

const HoleCandidate candidate{.centre_px = {middle.x + 0.4, middle.y - 0.3}, .radius_px = bore_px / 2 + 0.4};

double centre_off(Point p) {
    return std::hypot(p.x - middle.x, p.y - middle.y);
}

} // namespace

TEST_CASE("a bare edge hardly above the noise: the first look finds it, the shape is no noise's, the bore is "
          "within its u") {
    const drawn::Beam beam{.laminate = 0.965, .foil = 0.96, .barrel = 0.48};
    const Image<float> clean = drawn_hole(beam, 0);
    const HolePriors priors = known_priors(beam);
    constexpr int trials = 30;
    int within = 0;
    for (std::uint64_t seed = 1; seed <= trials; ++seed) {
        CAPTURE(seed);
        const TransmissionMap map = drawn::exposed(clean, blur_px, 1250, seed);
        const RimStart start = look_at_rim(map.t.view(), candidate, priors.shared.sigma_px, 1.0);
        REQUIRE(start.usable);
        CHECK(centre_off(start.centre_px) < 1);
        CHECK(std::abs(start.radius_px - bore_px / 2) < 1);
        const Hole hole = fit_hole(map, drawn::known_levels(beam, 1), priors, candidate);
        CHECK(hole.shape == HoleShape::round);
        CHECK(hole.seen_fraction > 0.8);
        CHECK(hole.wall.state != WallState::plated);
        REQUIRE(hole.bore_px);
        CHECK(std::abs(hole.bore_px.value() - bore_px) < 3.5 * hole.bore_px.u());
        within += std::abs(hole.bore_px.value() - bore_px) < 2 * hole.bore_px.u();
    }
    CHECK(within >= trials - 5); // 95 % of 30, less three sigma
}

TEST_CASE("a plated wall in a faint board is found where its dark ring begins") {
    const drawn::Beam beam{.laminate = 0.965, .foil = 0.96, .barrel = 0.48};
    const Image<float> clean = drawn_hole(beam, 1.4);
    const HolePriors priors = known_priors(beam);
    for (std::uint64_t seed = 1; seed <= 10; ++seed) {
        CAPTURE(seed);
        const TransmissionMap map = drawn::exposed(clean, blur_px, 1250, seed);
        const Hole hole = fit_hole(map, drawn::known_levels(beam, 1), priors, candidate);
        CHECK(hole.wall.state == WallState::plated);
        REQUIRE(hole.bore_px);
        CHECK(std::abs(hole.bore_px.value() - bore_px) < 3.5 * hole.bore_px.u());
    }
}

TEST_CASE("the outline of a part over a third of the hole is no edge of it") {
    const drawn::Beam beam{.laminate = 0.93, .foil = 0.96, .barrel = 0.28}, body{.laminate = 0.96};
    Image<float> picture = drawn_hole(beam, 0);
    const Image<float> dims =
        drawn::draw([](double x, double y) { return x + y < middle.x + middle.y - 14 ? 0 : drawn::air; },
                    body, size_px, blur_px);
    for (int y = 0; y < size_px; ++y)
        for (int x = 0; x < size_px; ++x)
            picture(x, y) *= dims(x, y);
    const HolePriors priors = known_priors(beam);
    for (std::uint64_t seed = 1; seed <= 10; ++seed) {
        CAPTURE(seed);
        const TransmissionMap map = drawn::exposed(picture, blur_px, 4000, seed);
        const RimStart start = look_at_rim(map.t.view(), candidate, priors.shared.sigma_px, 1.0);
        REQUIRE(start.usable);
        CHECK(centre_off(start.centre_px) < 1);
        CHECK(std::abs(start.radius_px - bore_px / 2) < 1);
        const Hole hole = fit_hole(map, drawn::known_levels(beam, 1), priors, candidate);
        REQUIRE(hole.bore_px);
        CHECK(std::abs(hole.bore_px.value() - bore_px) < 3.5 * hole.bore_px.u());
        CHECK(hole.seen_fraction < 0.8);
    }
}
