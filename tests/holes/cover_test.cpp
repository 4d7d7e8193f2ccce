// SPDX-License-Identifier: Apache-2.0
// Holes behind a part's body that lets most of the beam through: drawn from geometry, attenuations add.
#include "holes/cover.hpp"
#include "holes/find.hpp"
#include "holes/fit.hpp"
#include "rings/draw.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;

namespace {

constexpr int size_px = 160;
constexpr double blur_px = 1.1, photons = 6000, body = 0.86;
constexpr Point middle{80.3, 79.6};
const drawn::Beam beam{.laminate = 0.8, .foil = 0.88};

/// A hole in laminate with a plane of copper from `plane_px` on; `covered(x, y)`: the body lies there.
template<typename Covered>
TransmissionMap drawn_map(double bore_px, double wall_px, double plane_px, Covered&& covered,
                          double through = body) {
    const auto board = [=](double x, double y) {
        const double r = std::hypot(x - middle.x, y - middle.y);
        return r < bore_px ? drawn::air : r < bore_px + wall_px ? drawn::plating : r < plane_px ? 0 : 1;
    };
    Image<float> clean = drawn::draw(board, beam, size_px, blur_px);
    const drawn::Beam of_body{.laminate = through};
    const Image<float> dims = drawn::draw([&](double x, double y) { return covered(x, y) ? 0 : drawn::air; },
                                          of_body, size_px, blur_px);
    for (int y = 0; y < size_px; ++y)
        for (int x = 0; x < size_px; ++x)
            clean(x, y) *= dims(x, y);
    return drawn::exposed(clean, blur_px, photons, 11);
}

bool everywhere(double, double) {
    return true;
}
bool right_of_middle(double x, double) {
    return x > middle.x + 3;
}

HolePriors known_priors() {
    HolePriors priors;
    priors.shared = {std::sqrt(blur_px * blur_px + 1.0 / 12), beam.barrel}; // the pixel's area blurs as well
    priors.blur_known = priors.barrel_known = true;
    return priors;
}

HoleCandidate candidate(double radius_px) {
    return {.centre_px = {middle.x + 0.4, middle.y - 0.3}, .radius_px = radius_px + 0.4};
}

} // namespace

TEST_CASE("what lies evenly in front of a bore is told from its core, what covers half of it is not taken "
          "for even") {
    const double sigma = known_priors().shared.sigma_px;
    const auto all = drawn_map(20, 0, 34, everywhere), half = drawn_map(20, 0, 34, right_of_middle);
    const auto none = drawn_map(20, 0, 34, [](double, double) { return false; });
    CHECK(cover_of(all, candidate(20), sigma, 1.0) == doctest::Approx(body).epsilon(0.01));
    CHECK(cover_of(half, candidate(20), sigma, 1.0) == 1);
    CHECK(cover_of(none, candidate(20), sigma, 1.0) == 1);
}

TEST_CASE("bore and wall under an even body come out as without it") {
    for (const double wall_px : {0.0, 1.2}) {
        CAPTURE(wall_px);
        const auto map = drawn_map(20, wall_px, 34, everywhere);
        const Hole hole = fit_hole(map, drawn::known_levels(beam, 1), known_priors(), candidate(20));
        REQUIRE(hole.bore_px);
        CHECK(std::abs(hole.bore_px.value() - 40) < 0.1);
        CHECK(hole.wall.state == (wall_px > 0 ? WallState::plated : WallState::bare));
        if (wall_px > 0) CHECK(std::abs(hole.wall.thickness_px.value() - wall_px) < 0.1);
    }
}

TEST_CASE("a body over half of the bore hides that half and moves nothing") {
    const auto map = drawn_map(24, 0, 60, right_of_middle);
    const Hole hole = fit_hole(map, drawn::known_levels(beam, 1), known_priors(), candidate(24));
    REQUIRE(hole.bore_px);
    CHECK(std::abs(hole.bore_px.value() - 48) < 3 * hole.bore_px.u());
    CHECK(std::hypot(hole.centre_px.x - middle.x, hole.centre_px.y - middle.y) < 0.3);
    CHECK(hole.wall.state == WallState::bare);
    CHECK(hole.seen_fraction > 0.35);
    CHECK(hole.seen_fraction < 0.65);
}

TEST_CASE("bare and plated holes under a body are found, a window of that size in a plane is not") {
    Watch watch;
    const MaterialMap materials = drawn::known_levels(beam, 1);
    for (const double wall_px : {0.0, 1.2}) {
        CAPTURE(wall_px);
        const auto found = holes::find_holes(drawn_map(20, wall_px, 34, everywhere, 0.93), &materials, watch);
        REQUIRE(found.size() == 1);
        CHECK(std::hypot(found[0].centre_px.x - middle.x, found[0].centre_px.y - middle.y) < 0.5);
        CHECK(std::abs(found[0].radius_px - 20) < 1);
    }
    const auto window = drawn::exposed(
        drawn::draw([](double x, double y) { return std::hypot(x - middle.x, y - middle.y) < 20 ? 0 : 1; },
                    beam, size_px, blur_px),
        blur_px, photons, 12);
    CHECK(holes::find_holes(window, &materials, watch).empty());
}
