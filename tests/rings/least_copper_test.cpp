// SPDX-License-Identifier: Apache-2.0
// The thinnest copper said to be visible is drawn as the end of a trace, many times in noise, and must be
// seen.
#include "rings/draw.hpp"
#include "rings/least_copper.hpp"
#include "rings/rings.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;

namespace {

constexpr int size_px = 150, units_a_foil = 32, trials = 40;
constexpr Point middle{75.3, 74.6};
constexpr double blur_px = 1.1, pixel_mm = 0.025, bore_px = 26, tip_px = 34, plane_px = 46;
constexpr double half_width_px = rings::trace_width_mm / pixel_mm / 2;

/// What is drawn and looked for.
struct Look {
    double foil = 0.95; ///< T of the plane's copper over T without it
    double least_copper_share = 0;
};

/// Foils come in thirty-second parts: a plane of one, or none, and a trace of `units` from the plane's edge
/// inward.
Image<float> drawn_ring(int units, bool with_plane, const Look& look) {
    drawn::Beam beam;
    beam.foil = std::pow(look.foil, 1.0 / units_a_foil);
    const auto board = [=](double x, double y) {
        const double dx = x - middle.x, dy = y - middle.y, r = std::hypot(dx, dy);
        if (r < bore_px) return drawn::air;
        const bool on_trace = dx > tip_px && dx < plane_px && std::abs(dy) < half_width_px;
        return r > plane_px && with_plane ? units_a_foil : on_trace ? units : 0;
    };
    return drawn::draw(board, beam, size_px, blur_px);
}

KeepOut measured(const Image<float>& clean, double photons, std::uint64_t seed, const Look& look) {
    drawn::Beam beam;
    beam.foil = look.foil;
    Hole hole = drawn::bare_hole(middle, bore_px);
    RingOptions options;
    options.least_copper_share = look.least_copper_share;
    measure_ring(drawn::exposed(clean, blur_px, photons, seed), drawn::known_levels(beam, 2), hole, {},
                 options);
    return hole.keepout;
}

/// How often the trace's end is what the smallest gap is measured to.
int times_seen(int units, bool with_plane, double photons, const Look& look) {
    const Image<float> clean = drawn_ring(units, with_plane, look);
    int seen = 0;
    for (std::uint64_t seed = 1; seed <= trials; ++seed) {
        const KeepOut keepout = measured(clean, photons, seed, look);
        seen += keepout.min_px && std::abs(keepout.min_px.value() - (tip_px - bore_px)) < 3;
    }
    return seen;
}

int units_for(double darkening, const Look& look) {
    const double laminate = drawn::Beam{}.laminate;
    return static_cast<int>(
        std::ceil(std::log(1 - darkening / laminate) / std::log(look.foil) * units_a_foil));
}

} // namespace

TEST_CASE("the end of a trace of the thinnest copper said to be visible is seen, a fourth of it is not") {
    for (const bool with_plane : {true, false})
        for (const double photons : {1500.0, 8000.0}) {
            CAPTURE(with_plane);
            CAPTURE(photons);
            const CopperSight sight = measured(drawn_ring(0, with_plane, {}), photons, 99, {}).sight;
            REQUIRE(sight.laminate > 0);
            CHECK((sight.alternative > 0) == with_plane);
            const double least = rings::least_darkening(sight, pixel_mm);
            CHECK(rings::chance_of_notice(sight, pixel_mm, least) == doctest::Approx(0.95).epsilon(0.001));
            CHECK(rings::chance_of_notice(sight, pixel_mm, least / 4) < 0.1);
            const int units = units_for(least, {});
            CAPTURE(units);
            CHECK(times_seen(units, with_plane, photons, {}) >= 34); // 95 % of 40, less three sigma
            CHECK(times_seen(units / 4, with_plane, photons, {}) <
                  20); // nor is the figure four times too careful
        }
}

TEST_CASE("where thinner copper must be assumed than the planes show, it is looked for, and seen as often as "
          "said") {
    const Look thick{.foil = 0.75}; // two foils that always overlap, say
    const Look asked{.foil = 0.75, .least_copper_share = 0.05};
    constexpr double photons = 8000;
    const auto least = [&](const Look& look) {
        const CopperSight sight = measured(drawn_ring(0, true, look), photons, 99, look).sight;
        return rings::least_darkening(sight, pixel_mm);
    };
    CHECK(least(asked) < 0.5 * least(thick));
    const int units = units_for(least(asked), asked);
    CAPTURE(units);
    CHECK(times_seen(units, true, photons, asked) >= 34);
    CHECK(times_seen(units, true, photons, thick) < 20); // what the planes alone would have it look for
    CHECK(times_seen(0, true, photons, asked) == 0);
    CHECK(measured(drawn_ring(0, true, asked), photons, 5, asked).min_px.value() ==
          doctest::Approx(plane_px - bore_px).epsilon(0.01)); // and noise is taken for no copper
}
