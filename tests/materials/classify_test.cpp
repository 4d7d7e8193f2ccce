// SPDX-License-Identifier: Apache-2.0
#include "exposure/drawn.hpp"
#include "materials/class_map.hpp"
#include "materials/foil_steps.hpp"
#include "ringwall/materials.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;
using namespace ringwall::materials;
using exposure::LogLevel;

namespace {

LogLevel level(double p, double count) {
    LogLevel l;
    l.value = p;
    l.u = 1e-4;
    l.count = count;
    return l;
}

} // namespace

TEST_CASE("a staircase of equal steps is read") {
    const FoilSteps steps =
        read_steps({level(0.07, 500), level(0.12, 900), level(0.17, 300), level(0.22, 100)}, 8);
    REQUIRE(steps.copper.size() == 3);
    CHECK(steps.laminate.value == 0.07);
    CHECK(steps.foil == doctest::Approx(0.05));
    CHECK(steps.hardening == 0);
}

TEST_CASE("steps that fall by hardening are one staircase") {
    std::vector<LogLevel> levels{level(0.2, 500)};
    for (int k = 1; k <= 5; ++k)
        levels.push_back(level(0.2 + 0.3 * k * (1 - 0.03 * (k - 1)), 200));
    const FoilSteps steps = read_steps(levels, 8);
    REQUIRE(steps.copper.size() == 5);
    CHECK(steps.hardening == doctest::Approx(0.03));
}

TEST_CASE("a step that is not in view is put in, and a part's level is left out") {
    // Laminate, one foil, three foils; 0.095 is a plastic package over laminate.
    const FoilSteps steps =
        read_steps({level(0.07, 900), level(0.095, 40), level(0.12, 900), level(0.22, 700)}, 8);
    REQUIRE(steps.copper.size() == 3);
    CHECK(steps.foil == doctest::Approx(0.05));
    CHECK(steps.copper[1].count == 0);
    CHECK(steps.copper[1].value == doctest::Approx(0.17));
}

TEST_CASE("laminate alone has no steps, nothing at all is nothing") {
    const FoilSteps alone = read_steps({level(0.07, 900)}, 8);
    CHECK(alone.found);
    CHECK(alone.copper.empty());
    CHECK_FALSE(read_steps({}, 8).found);
}

TEST_CASE("levels of laminate and foils come back within 5 % of the foil step") {
    struct Beam {
        double laminate_p, foil_p, photons;
    };
    const Beam beams[] = {
        {0.212, 0.342, 3000}, {0.085, 0.082, 8000}, {0.070, 0.050, 1300}, {0.05, 0.014, 4000}};
    std::uint64_t seed = 900;
    for (const Beam& beam : beams)
        for (const bool air : {true, false}) {
            drawn::Choice choice;
            choice.seed = seed++;
            choice.laminate_p = beam.laminate_p;
            choice.foil_p = beam.foil_p;
            choice.photons = beam.photons;
            choice.hardening = 0.015;
            choice.air = air;
            choice.parts = seed % 2 == 0;
            choice.planes = 3;
            CAPTURE(choice.seed);
            drawn::Picture picture = drawn::draw(choice);
            Watch watch;
            const TransmissionMap map = to_transmission(std::move(picture.radiograph), {}, watch);
            const MaterialMap materials = classify(map, watch);
            const double step = picture.laminate_t - picture.copper_t[0];
            REQUIRE(materials.levels.laminate);
            CHECK(std::abs(materials.levels.laminate.value() - picture.laminate_t) < 0.05 * step);
            for (std::size_t k = 0; k < picture.copper_t.size(); ++k) {
                if (picture.copper_share[k] < 0.03) continue; // only crossings of traces
                CAPTURE(k);
                REQUIRE(materials.levels.copper.size() > k);
                CHECK(std::abs(materials.levels.copper[k].value() - picture.copper_t[k]) < 0.05 * step);
            }
        }
}

TEST_CASE("pixels away from edges get their own class") {
    drawn::Choice choice;
    choice.seed = 950;
    choice.laminate_p = 0.05;
    choice.foil_p = 0.03;
    choice.photons = 1200; // one pixel's noise is as large as a foil
    drawn::Picture picture = drawn::draw(choice);
    Watch watch;
    const TransmissionMap map = to_transmission(std::move(picture.radiograph), {}, watch);
    const MaterialMap materials = classify(map, watch);
    REQUIRE(materials.classes.width() == choice.width);
    double right = 0, all = 0;
    for (int y = 4; y + 4 < choice.height; ++y)
        for (int x = 4; x + 4 < choice.width; ++x) {
            const double t = picture.truth_t(x, y);
            double spread = 0; // of the truth within 4 px: no edge near
            for (const int d : {-4, -2, 2, 4})
                spread += std::abs(picture.truth_t(x + d, y) - t) + std::abs(picture.truth_t(x, y + d) - t);
            if (spread > 1e-4) continue;
            std::uint8_t expected = material::void_air;
            if (t < 0.5)
                expected = material::dense;
            else if (t < 0.98)
                expected = static_cast<std::uint8_t>(1 + std::lround((-std::log(t) - 0.05) / 0.03));
            all += 1;
            right += materials.classes(x, y) == expected;
        }
    REQUIRE(all > 100000);
    CHECK(right / all > 0.98); // half a step at 2.5 sigma after smoothing: 0.6 % on either side
}
