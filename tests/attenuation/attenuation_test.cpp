// SPDX-License-Identifier: Apache-2.0
#include "ringwall/attenuation.hpp"
#include "ringwall/error.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

using namespace ringwall;

namespace {

double mass_attenuation(int z, double kev) {
    return linear_attenuation_per_cm(z, 1.0, kev);
}

double half_value_um(int z, double density, double kev) {
    return std::numbers::ln2 / linear_attenuation_per_cm(z, density, kev) * 1e4;
}

Substance made_of(int z, double density) {
    return {"element", {{z, 1.0}}, density};
}

} // namespace

TEST_CASE("mass attenuation agrees with the published table within 0.2 %") {
    // Hubbell & Seltzer, NISTIR 5632 (NIST SRD 126), Table 3, cm2/g.
    struct Row {
        int z;
        double kev, cm2_g;
    };
    const Row rows[] = {{1, 60, 0.3260},   {6, 40, 0.2076},  {8, 20, 0.8651},  {13, 30, 1.128},
                        {13, 100, 0.1704}, {14, 50, 0.4385}, {20, 40, 1.830},  {26, 60, 1.205},
                        {26, 100, 0.3717}, {29, 20, 33.79},  {29, 30, 10.92},  {29, 40, 4.862},
                        {29, 50, 2.613},   {29, 60, 1.593},  {29, 80, 0.7630}, {29, 100, 0.4584},
                        {29, 150, 0.2217}, {35, 40, 7.900},  {50, 20, 21.46},  {50, 30, 41.21},
                        {74, 60, 3.713},   {74, 80, 7.810},  {82, 80, 2.419},  {82, 100, 5.549}};
    for (const Row& row : rows) {
        CAPTURE(row.z);
        CAPTURE(row.kev);
        CHECK(mass_attenuation(row.z, row.kev) == doctest::Approx(row.cm2_g).epsilon(0.002));
    }
}

TEST_CASE("absorption edges lie where the elements have them") {
    // Same table: tin rises from 20 to 30 keV, tungsten from 60 to 80, lead from 80 to 100; copper only
    // falls.
    CHECK(mass_attenuation(50, 30) > mass_attenuation(50, 20));
    CHECK(mass_attenuation(74, 80) > mass_attenuation(74, 60));
    CHECK(mass_attenuation(82, 100) > mass_attenuation(82, 80));
    for (double kev = 10; kev < 300; kev += 1)
        CHECK(mass_attenuation(29, kev + 1) < mass_attenuation(29, kev));
}

TEST_CASE("half-value layers") {
    // ln 2 / mu from the same table, um, rounded to four digits there: 0.25 %.
    CHECK(half_value_um(29, 8.96, 60) == doctest::Approx(485.6).epsilon(0.0025));
    CHECK(half_value_um(29, 8.96, 100) == doctest::Approx(1688).epsilon(0.0025));
    CHECK(half_value_um(26, 7.874, 40) == doctest::Approx(242.6).epsilon(0.0025));
    CHECK(half_value_um(13, 2.699, 80) == doctest::Approx(12730).epsilon(0.0025));
    CHECK(half_value_um(50, 7.31, 30) == doctest::Approx(23.01).epsilon(0.0025));
    CHECK(half_value_um(82, 11.35, 100) == doctest::Approx(110.1).epsilon(0.0025));
    for (const double kev : {25.0, 60.0, 140.0}) {
        const double half_mm = half_value_um(29, 8.96, kev) / 1000;
        CHECK(transmission(single_energy_beam(kev), copper(), half_mm) ==
              doctest::Approx(0.5).epsilon(1e-12));
    }
}

TEST_CASE("copper foils let through what the table's coefficients say") {
    // exp(-mu t) from the same table, four digits; a 0.2 % error in mu at p = 1.06 gives 0.0021 of T.
    struct Row {
        double um, kev, t;
    };
    for (const Row& row : {Row{18, 20, .5799}, Row{18, 60, .9746}, Row{25, 30, .7830}, Row{35, 20, .3466},
                           Row{35, 40, .8586}, Row{35, 60, .9513}, Row{35, 100, .9857}, Row{50, 50, .8895},
                           Row{70, 60, .9049}, Row{70, 150, .9862}}) {
        const double p = -std::log(row.t);
        CHECK(transmission(single_energy_beam(row.kev), copper(), row.um / 1000) ==
              doctest::Approx(row.t).epsilon(0.002 * p + 0.0002));
    }
    // A steel shank of 3 mm at 80 keV: 0.245.
    CHECK(transmission(single_energy_beam(80), steel(), 3) == doctest::Approx(0.245).epsilon(0.005));
}

TEST_CASE("a mixture is the sum of its elements by weight") {
    const Substance mix{"half and half", {{29, 0.5}, {50, 0.5}}, 2.0};
    CHECK(linear_attenuation_per_cm(mix, 60) ==
          doctest::Approx(2.0 * 0.5 * (mass_attenuation(29, 60) + mass_attenuation(50, 60))));
}

TEST_CASE("laminates are the stated constructions") {
    // The same constructions computed by an independent program from the same cross sections: mu in 1/cm.
    CHECK(linear_attenuation_per_cm(glass_epoxy(), 20) == doctest::Approx(4.456).epsilon(0.003));
    CHECK(linear_attenuation_per_cm(glass_epoxy(), 60) == doctest::Approx(0.4670).epsilon(0.003));
    CHECK(linear_attenuation_per_cm(brominated_glass_epoxy(), 20) == doctest::Approx(12.00).epsilon(0.003));
    CHECK(linear_attenuation_per_cm(brominated_glass_epoxy(), 40) == doctest::Approx(1.963).epsilon(0.003));
    CHECK(linear_attenuation_per_cm(brominated_glass_epoxy(), 100) == doctest::Approx(0.3998).epsilon(0.003));
}

TEST_CASE("one energy: thicknesses multiply") {
    const Beam beam = single_energy_beam(55);
    const double one = transmission(beam, copper(), 0.3), other = transmission(beam, copper(), 1.1);
    CHECK(transmission(beam, copper(), 1.4) == doctest::Approx(one * other).epsilon(1e-12));
}

TEST_CASE("a tube's beam hardens") {
    const Beam beam = tube_beam(90, 1.0);
    double sum = 0;
    for (const auto& line : beam.lines)
        sum += line.weight;
    CHECK(sum == doctest::Approx(1).epsilon(1e-12));
    double before = 1e9;
    for (const double mm : {0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 4.0}) {
        const double effective = -std::log(transmission(beam, copper(), mm)) / mm;
        CHECK(effective < before);
        before = effective;
    }
    const double first = transmission(beam, copper(), 0.2);
    CHECK(transmission(beam, copper(), 0.4) > first * first * 1.01);
}

TEST_CASE("a filter hardens the beam, more volts too") {
    const auto through = [](const Beam& beam) { return transmission(beam, copper(), 0.1); };
    CHECK(through(tube_beam(90, 2.0)) > through(tube_beam(90, 0.5)));
    CHECK(through(tube_beam(120, 1.0)) > through(tube_beam(70, 1.0)));
}

TEST_CASE("wrong arguments are refused, never taken as transparent") {
    CHECK_THROWS_AS(linear_attenuation_per_cm(29, 8.96, 60e3), Error); // eV for keV
    CHECK_THROWS_AS(linear_attenuation_per_cm(29, 8.96, 0.5), Error);
    CHECK_THROWS_AS(linear_attenuation_per_cm(0, 1, 60), Error);
    CHECK_THROWS_AS(linear_attenuation_per_cm(140, 1, 60), Error);
    CHECK_THROWS_AS(linear_attenuation_per_cm(29, 0, 60), Error);
    CHECK_THROWS_AS(linear_attenuation_per_cm(29, std::nan(""), 60), Error);
    CHECK_THROWS_AS(linear_attenuation_per_cm(Substance{"short", {{29, 0.5}}, 8.0}, 60), Error);
    CHECK_THROWS_AS(linear_attenuation_per_cm(made_of(29, -1), 60), Error);
    CHECK_THROWS_AS(tube_beam(20, 1), Error);
    CHECK_THROWS_AS(tube_beam(90, -1), Error);
    CHECK_THROWS_AS(tube_beam(90, 1, 0), Error);
}
