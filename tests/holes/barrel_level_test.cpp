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

namespace {

/// Noticed from that share of the laminate's level on, never below: no noise.
std::optional<double> noticed_from(double share, const MaterialLevels& levels, const BoardBuild& build) {
    return copper_noticed_um(levels, build, [share](double taken) { return taken >= share ? 1.0 : 0.0; });
}

} // namespace

TEST_CASE(
    "copper said to be noticed darkens enough, be the level one plane or two, and not four times too much") {
    for (const int planes : {1, 2})
        for (const double kev : {45.0, 60.0, 80.0})
            for (const double um : {12.0, 35.0}) {
                CAPTURE(planes);
                CAPTURE(kev);
                CAPTURE(um);
                Made truth = made(kev, 1.6);
                truth.levels.copper = {Estimate::of(
                    truth.levels.laminate.value() * std::exp(-truth.copper_per_um * 35 * planes), 0.001)};
                const auto noticed = noticed_from(1 - std::exp(-truth.copper_per_um * um), truth.levels,
                                                  {.board_mm = 1.6, .foil_um = 35});
                REQUIRE(noticed);
                CHECK(*noticed >= um);
                CHECK(*noticed < 4 * um);
            }
}

TEST_CASE("what noise hides and what is not known of the build are one probability") {
    const MaterialLevels levels = made(60, 1.6).levels;
    const BoardBuild build{.board_mm = 1.6, .foil_um = 35};
    const auto share = expected_darkening_share(levels, build, 20);
    REQUIRE(share);
    const auto back = noticed_from(*share, levels, build);
    REQUIRE(back);
    CHECK(*back == doctest::Approx(20).epsilon(0.01));
    const auto unstated = noticed_from(*share, levels, {});
    REQUIRE(unstated);
    CHECK(*unstated > *back);
    // A chance of 95 % whatever the copper leaves nothing for the build, less is never enough.
    const auto always = [&](double chance) {
        return copper_noticed_um(levels, build, [chance](double) { return chance; });
    };
    CHECK(always(0.951));
    CHECK_FALSE(always(0.949));
    CHECK_FALSE(noticed_from(0.1, {}, build));
    CHECK_FALSE(expected_darkening_share({}, build, 20));
    CHECK_FALSE(expected_darkening_share(levels, build, 0));
}
