// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"
#include "ringwall/error.hpp"
#include "ringwall/screwfit.hpp"
#include "screwfit/reach.hpp"
#include "screwfit/tables.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <fstream>

using namespace ringwall;
using namespace ringwall::screwfit;
using ringwall::test::Scratch;

TEST_CASE(
    "metric screws have the limits of ISO 965-2, class 6g, and minor diameters down to the rounded root") {
    // ISO 965-2:1998 tables, as two public charts restate them; before coating.
    struct Row {
        const char* name;
        double nominal, most, least, minor_least;
    };
    for (const Row& row : {Row{"M2", 2, 1.981, 1.886, 1.408}, Row{"M2.5", 2.5, 2.480, 2.380, 1.840},
                           Row{"M3", 3, 2.980, 2.874, 2.272}, Row{"M3.5", 3.5, 3.479, 3.354, 2.634},
                           Row{"M4", 4, 3.978, 3.838, 3.002}, Row{"M5", 5, 4.976, 4.826, 3.868}}) {
        CAPTURE(row.name);
        const Screw screw = screw_named(row.name);
        CHECK(screw.major_mm == row.nominal);
        CHECK(screw.major_max_mm == row.most);
        CHECK(screw.major_min_mm == row.least);
        CHECK(screw.minor_mm == row.minor_least);
        CHECK_FALSE(screw.source.empty());
    }
}

TEST_CASE("unified screws follow ASME B1.1's formulas for class 2A") {
    // Allowance 0.3 Td2, Td2 = 0.0015 D^(1/3) + 0.0015 sqrt(D) + 0.015 P^(2/3), Td = 0.060 P^(2/3), inches
    // (ASME B1.1; the standard's table, rounded to 0.0001 in, from memory).
    struct Row {
        const char* name;
        double d_in, threads;
    };
    for (const Row& row : {Row{"UNC4-40", 0.112, 40}, Row{"UNC6-32", 0.138, 32}, Row{"UNC8-32", 0.164, 32}}) {
        CAPTURE(row.name);
        const double p = 1 / row.threads, p23 = std::pow(p, 2.0 / 3);
        const double td2 = 0.0015 * std::cbrt(row.d_in) + 0.0015 * std::sqrt(row.d_in) + 0.015 * p23;
        const double most = row.d_in - 0.3 * td2, least = most - 0.060 * p23;
        const Screw screw = screw_named(row.name);
        CHECK(screw.major_mm == doctest::Approx(25.4 * row.d_in).epsilon(1e-6));
        CHECK(std::abs(*screw.major_max_mm - 25.4 * most) < 0.0025);
        CHECK(std::abs(*screw.major_min_mm - 25.4 * least) < 0.0025);
        // pitch diameter's minimum less 17/24 of the sharp triangle's height (0.8660 P), as ISO's rounded
        // root
        const double pitch_least = row.d_in - 0.649519 * p - 1.3 * td2;
        CHECK(std::abs(screw.minor_mm - 25.4 * (pitch_least - 17.0 / 24 * 0.8660254 * p)) < 0.003);
    }
}

TEST_CASE("spacings of IPC-2221 table 6-1: boundary volts, over 500 V, and the standard's own example") {
    // IPC-2221, table 6-1; 600 V internal is the standard's worked example: 0.25 + 100 x 0.0025 = 0.50 mm.
    CHECK(ipc_2221_spacing_mm("B1", 600) == doctest::Approx(0.50));
    CHECK(ipc_2221_spacing_mm("B2", 15) == 0.1);
    CHECK(ipc_2221_spacing_mm("B2", 30) == 0.1);
    CHECK(ipc_2221_spacing_mm("B2", 30.1) == 0.6); // between the rows 16-30 and 31-50: the higher one
    CHECK(ipc_2221_spacing_mm("A6", 15) == 0.13);
    CHECK(ipc_2221_spacing_mm("A6", 15.1) == 0.25);
    CHECK(ipc_2221_spacing_mm("B2", 150) == 0.6);
    CHECK(ipc_2221_spacing_mm("B2", 151) == 1.25);
    CHECK(ipc_2221_spacing_mm("B4", 50) == 0.13);
    CHECK(ipc_2221_spacing_mm("B3", 100) == 1.5);
    CHECK(ipc_2221_spacing_mm("A5", 100) == 0.13);
    CHECK(ipc_2221_spacing_mm("A7", 300) == 0.8);
    CHECK(ipc_2221_spacing_mm("B4", 501) == doctest::Approx(0.80305));
    CHECK(ipc_2221_spacing_mm("B1", 0) == 0.05);
    CHECK_THROWS_AS((void)ipc_2221_spacing_mm("B5", 24), Error);
    CHECK_THROWS_AS((void)ipc_2221_spacing_mm("B1", -1), Error);
    CHECK(spacing_rows().size() == 7);
    for (const auto& row : spacing_rows()) {
        double last = 0;
        for (double v = 0; v < 1000; v += 0.5) { // never less for more volts
            CHECK(ipc_2221_spacing_mm(row, v) >= last);
            last = ipc_2221_spacing_mm(row, v);
        }
    }
}

TEST_CASE(
    "a rule names a length, or voltage and row together; above low voltage the product's standard decides") {
    const auto rule = [](std::optional<double> volts, const std::string& row,
                         VoltageKind kind = VoltageKind::unknown) {
        return SpacingRule{volts, kind, row, {}};
    };
    CHECK_FALSE(required_spacing_mm({}).has_value());
    CHECK(required_spacing_mm({{}, VoltageKind::unknown, "", 0.4}) == 0.4);
    CHECK(required_spacing_mm(rule(24, "B2")) == 0.1);
    CHECK_THROWS_AS((void)required_spacing_mm(rule(24, "")), Error);
    CHECK_THROWS_AS((void)required_spacing_mm(rule({}, "B2")), Error);
    CHECK_FALSE(above_low_voltage(rule(42.4, "B2")));
    CHECK(above_low_voltage(rule(42.5, "B2"))); // kind not given: the lower of both limits
    CHECK(above_low_voltage(rule(42.5, "B2", VoltageKind::ac)));
    CHECK_FALSE(above_low_voltage(rule(60, "B2", VoltageKind::dc)));
    CHECK(above_low_voltage(rule(60.1, "B2", VoltageKind::dc)));
}

TEST_CASE("overhang of heads and washers does not depend on the hole while the screw leans on its wall") {
    // (dk - d)/2 and (d1 + d2 - 2 d)/2, geometry; sizes of ISO 7045 and ISO 7089, d the least of 6g, holes of
    // ISO 273.
    struct Row {
        const char* name;
        double head, washer;
    };
    for (const Row& row : {Row{"M2", 1.057, 1.714}, Row{"M2.5", 1.310, 1.970}, Row{"M3", 1.363, 2.226},
                           Row{"M3.5", 1.823, 2.496}, Row{"M4", 2.081, 2.812}, Row{"M5", 2.337, 2.824}}) {
        CAPTURE(row.name);
        Screw screw = screw_named(row.name);
        screw.major_mm = *screw.major_min_mm;
        const StandardPart head = standard_heads(row.name).front(),
                           washer = standard_washers(row.name).front();
        CHECK(clearance_holes(row.name).size() == 3);
        for (const ClearanceHole& hole : clearance_holes(row.name)) {
            CAPTURE(hole.fit);
            const double edge = 0.5 * hole.hole_mm;
            CHECK(head_reach_mm(hole.hole_mm, screw, head.outer_mm) - edge ==
                  doctest::Approx(row.head).epsilon(1e-3));
            CHECK(washer_reach_mm(hole.hole_mm, screw, *washer.bore_mm, washer.outer_mm) - edge ==
                  doctest::Approx(row.washer).epsilon(1e-3));
            CHECK(resting_reach_mm(hole.hole_mm, screw) == doctest::Approx(edge)); // a crest reaches the wall
        }
    }
}

TEST_CASE("reach of a screw that leans, fills and cuts") {
    const Screw screw = screw_named("UNC6-32"); // d 3.5052, d1 2.411
    CHECK(resting_reach_mm(3.3, screw) == doctest::Approx(3.5052 / 2));
    CHECK(resting_reach_mm(3.9, screw) == doctest::Approx(1.95));
    CHECK(cutting_reach_mm(3.3, screw) == doctest::Approx(1.65 + (3.5052 - 2.411) / 2));
    CHECK(cutting_reach_mm(2.3, screw) ==
          doctest::Approx(3.5052 / 2)); // the whole thread is in the wall already
    CHECK(engagement_of(3.3, screw) == Engagement::cuts);
    CHECK(engagement_of(3.6, screw) == Engagement::free);
    Screw crooked = screw;
    crooked.tilt_deg = 2;
    CHECK(tilt_reach_mm(crooked, 1.6) == doctest::Approx(0.05587).epsilon(1e-3));
    crooked.engagement = Engagement::free;
    CHECK(engagement_of(3.3, crooked) == Engagement::free);
}

TEST_CASE("a table of one's own comes first; its faults are named with line and column") {
    const Scratch scratch;
    const auto write = [&](const std::string& text) {
        const auto file = scratch / "mine.csv";
        std::ofstream(file) << text;
        return file;
    };
    const std::string head = "name,nominal_mm,major_min_mm,major_max_mm,minor_min_mm,source\n";
    const auto good = write(head + "M3,3.05,,,2.3,\"measured, plated\"\nB\xC3\xB6gl 3,3.1,,,2.4,\n");
    CHECK(screw_named("M3", good).major_mm == 3.05);
    CHECK(screw_named("M3", good).source == "measured, plated");
    CHECK(screw_named("B\xC3\xB6gl 3", good).minor_mm == 2.4);
    CHECK(screw_named("M4", good).major_mm == 4);
    CHECK_FALSE(screw_named("M3", good).major_max_mm.has_value());
    const auto says = [&](const std::string& text, const std::string& words) {
        try {
            (void)screw_named("M3", write(text));
            FAIL("no error");
        } catch (const Error& error) {
            CHECK(std::string(error.what()).find(words) != std::string::npos);
            CHECK(error.fault() == Fault::input);
        }
    };
    says(head + "M3,-3,,,2.3,x\n",
         "line 2, column nominal_mm: expected a size over 0 and under 100 mm, got \"-3\"");
    says(head + "M3,3,05,,,2.3,x\n",
         "line 2: expected 6 fields like the header, got 7 (a decimal comma needs a point)");
    says(head + "M3,3,,,3.1,x\n", "column minor_min_mm: expected less than the nominal diameter 3");
    says(head + "M3,3,,,2.3,\"x\n", "expected a closing quote, got the end of the file");
    says("", "expected a header line");
    CHECK_THROWS_WITH_AS((void)screw_named("M33"), doctest::Contains("expected one of M2"), Error);
}
