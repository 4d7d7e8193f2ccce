// SPDX-License-Identifier: Apache-2.0
// Levels made with NIST attenuation (xraylib) from a known board are read back into its barrel and its
// copper.
#include "holes/barrel_level.hpp"

#include "ringwall/attenuation.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;

namespace {

struct Made {
    MaterialLevels levels;
    double barrel, copper_per_um;
};

/// Laminate of `board_mm` and a plane of 35 um in a beam of one energy.
Made made(double kev, double board_mm) {
    const double copper = linear_attenuation_per_cm(ringwall::copper(), kev) / 10;
    const double laminate = std::exp(-linear_attenuation_per_cm(glass_epoxy(), kev) / 10 * board_mm);
    Made out;
    out.levels.open = Estimate::of(1, 0.001);
    out.levels.laminate = Estimate::of(laminate, 0.001);
    out.levels.copper = {Estimate::of(laminate * std::exp(-copper * 0.035), 0.001)};
    out.barrel = std::exp(-copper * board_mm);
    out.copper_per_um = copper / 1000;
    return out;
}

} // namespace

TEST_CASE("the barrel's level is within its stated uncertainty of the exact one, with the build stated") {
    for (const double kev : {40.0, 60.0, 100.0}) {
        CAPTURE(kev);
        const Made truth = made(kev, 1.6);
        const Estimate barrel = expected_barrel_level(truth.levels, {.board_mm = 1.6, .foil_um = 35});
        REQUIRE(barrel);
        CHECK(std::abs(barrel.value() - truth.barrel) < 2.5 * barrel.u());
    }
}

TEST_CASE("copper seen at one level only may be all planes at once") {
    for (const int planes : {2, 4, 6})
        for (const double kev : {45.0, 60.0, 90.0}) {
            CAPTURE(planes);
            CAPTURE(kev);
            Made truth = made(kev, 0.8);
            const double laminate = truth.levels.laminate.value();
            truth.levels.copper = {
                Estimate::of(laminate * std::exp(-truth.copper_per_um * 35 * planes), 0.001)};
            const Estimate barrel = expected_barrel_level(truth.levels, {.board_mm = 0.8, .foil_um = 35});
            REQUIRE(barrel);
            CHECK(std::abs(barrel.value() - truth.barrel) < 2.5 * barrel.u());
        }
}

TEST_CASE("even steps speak for a beam of one energy, steps that shrink for a broad one") {
    const auto with_steps = [](double shrink) {
        Made truth = made(60, 1.6);
        double level = truth.levels.laminate.value(), step = truth.copper_per_um * 35;
        truth.levels.copper.clear();
        for (int k = 0; k < 4; ++k, step *= shrink)
            truth.levels.copper.push_back(Estimate::of(level *= std::exp(-step), 0.0003));
        return expected_barrel_level(truth.levels, {.board_mm = 1.6, .foil_um = 35});
    };
    const Estimate even = with_steps(1.0), shrinking = with_steps(0.93);
    REQUIRE(even);
    REQUIRE(shrinking);
    CHECK(even.value() < shrinking.value());
    CHECK(std::abs(even.value() - made(60, 1.6).barrel) < 2.5 * even.u());
}

TEST_CASE("a darkening is read as the copper that makes it") {
    for (const double kev : {40.0, 80.0})
        for (const double um : {12.0, 35.0, 70.0}) {
            CAPTURE(kev);
            CAPTURE(um);
            const Made truth = made(kev, 1.6);
            const double darkening =
                truth.levels.laminate.value() * (1 - std::exp(-truth.copper_per_um * um));
            const Estimate stated =
                expected_copper_um(truth.levels, {.board_mm = 1.6, .foil_um = 35}, darkening);
            REQUIRE(stated);
            CHECK(std::abs(stated.value() - um) < 2 * stated.u());
            const Estimate unstated = expected_copper_um(truth.levels, {}, darkening);
            REQUIRE(unstated);
            CHECK(std::abs(unstated.value() - um) < 2.5 * unstated.u());
            CHECK(unstated.u() > stated.u());
        }
    CHECK_FALSE(expected_copper_um(made(60, 1.6).levels, {}, 0.99));
    // The reverse, on the side that shows less.
    const MaterialLevels levels = made(60, 1.6).levels;
    const BoardBuild build{.board_mm = 1.6, .foil_um = 35};
    const auto share = expected_darkening_share(levels, build, 20);
    REQUIRE(share);
    const Estimate back = expected_copper_um(levels, build, *share * levels.laminate.value());
    CHECK(back.value() + 1.645 * back.u() == doctest::Approx(20).epsilon(0.01));
    CHECK_FALSE(expected_darkening_share({}, build, 20));
    CHECK_FALSE(expected_darkening_share(levels, build, 0));
}
