// SPDX-License-Identifier: Apache-2.0
#include "record/from_hole.hpp"

#include <cmath>
#include <doctest/doctest.h>

using namespace ringwall;

namespace {

Hole hole_in_px() {
    Hole hole;
    hole.centre_px = {100, 200};
    hole.u_x_px = 0.03, hole.u_y_px = 0.04;
    hole.bore_px = Estimate::of(132, 0.05);
    hole.drill_px = Estimate::of(134, 0.06);
    hole.roundness_px = Estimate::of(1, 0.1);
    hole.wall.state = WallState::plated;
    hole.wall.covered_fraction = 1;
    hole.wall.thickness_px = Estimate::of(1, 0.02);
    hole.keepout.state = KeepOutState::ring_seen;
    hole.keepout.min_px = Estimate::of(20, 0.1);
    hole.keepout.min_angle_deg = 90;
    hole.keepout.p_low_px = 19.8;
    hole.keepout.searched_to_px = 160;
    hole.keepout.profile = {
        {0, 30, 0.1, GapReason::measured}, {90, 20, 0.1, GapReason::measured}, {180, 0, 0, GapReason::own}};
    hole.budget_px = {{"bore_px", "noise", 0.03, 0},
                      {"bore_px", "level choice", 0.04, 0},
                      {"keepout_min_px", "noise", 0.1, 0}};
    return hole;
}

} // namespace

TEST_CASE("px become mm with the direction's factor, and the scale's uncertainty joins every length") {
    // x 0.02 mm, y 0.03 mm a pixel, 1 %: the answers by hand.
    const HoleRecord r = record_of(hole_in_px(), Scale::of(0.02, 0.03, 0.01, "test"), 0.95, "H7");
    CHECK(r.id == "H7");
    CHECK(*r.x_mm == doctest::Approx(2.0));
    CHECK(*r.y_mm == doctest::Approx(6.0));
    CHECK(r.bore_mm.value() == doctest::Approx(132 * 0.025));
    CHECK(r.bore_mm.u() == doctest::Approx(std::hypot(0.05 * 0.025, 132 * 0.025 * 0.01)));
    CHECK(r.keepout.min_mm.value() == doctest::Approx(20 * 0.03)); // at 90 degrees: y
    CHECK(*r.keepout.profile[0].gap_mm == doctest::Approx(30 * 0.02));
    CHECK(*r.keepout.profile[1].gap_mm == doctest::Approx(20 * 0.03));
    CHECK(r.keepout.profile[2].why == "own");
    CHECK_FALSE(r.keepout.profile[2].gap_px.has_value());
    CHECK(r.wall.thickness_um.value() == doctest::Approx(25));
}

TEST_CASE("the low quantile of the smallest gap keeps the fit's spread and adds the scale's") {
    const HoleRecord r = record_of(hole_in_px(), Scale::of(0.03, 0.03, 0.01, "test"), 0.95, "H1");
    // z(95 %) = 1.6449 (standard normal table): below = hypot(0.2 px * 0.03, 1.6449 * 0.6 mm * 0.01)
    CHECK(*r.keepout.p_low_mm == doctest::Approx(0.6 - std::hypot(0.006, 1.6449 * 0.006)).epsilon(1e-5));
}

TEST_CASE("the budget's lines add up to the record's uncertainty, shares to one") {
    Hole hole = hole_in_px();
    const HoleRecord r = record_of(hole, Scale::of(0.025, 0.025, 0.01, "test"), 0.95, "H1");
    double bore = 0, shares = 0;
    for (const auto& line : r.budget) {
        if (line.quantity != "bore_mm") continue;
        bore += line.u * line.u;
        shares += line.share;
    }
    CHECK(std::sqrt(bore) == doctest::Approx(r.bore_mm.u())); // noise 0.03, level 0.04 -> 0.05 px
    CHECK(shares == doctest::Approx(1));
    CHECK(r.budget.back().component == "scale");
    hole.kind = HoleKind::via;
    CHECK(record_of(hole, Scale::of(0.025, 0.025, 0.01, "test"), 0.95, "H1").budget.empty());
}

TEST_CASE("the budget speaks of numbers that are stated: none of a ring without one, one line for touching") {
    const Scale scale = Scale::of(0.025, 0.025, 0.01, "test");
    const auto ring_lines = [&](const Hole& hole) {
        std::vector<BudgetLine> lines = record_of(hole, scale, 0.95, "H1").budget;
        std::erase_if(lines, [](const BudgetLine& line) { return line.quantity != "keepout_min_mm"; });
        return lines;
    };
    Hole hole = hole_in_px();
    hole.keepout.state = KeepOutState::runs_on;
    hole.keepout.min_px = Estimate::missing("hidden");
    CHECK(ring_lines(hole).empty());
    hole.keepout.state = KeepOutState::touching;
    hole.keepout.min_px = Estimate::of(0, 0.1);
    const auto touching = ring_lines(hole);
    REQUIRE(touching.size() == 2); // and the scale's share of nothing
    CHECK(touching[0].component == "largest gap not excluded");
    CHECK(touching[0].u == doctest::Approx(0.1 * 0.025));
    CHECK(touching[0].share == doctest::Approx(1));
    CHECK(touching[1].u == 0);
}

TEST_CASE("without a scale px stand and every mm says why") {
    const HoleRecord r = record_of(hole_in_px(), Scale::unknown("no scale"), 0.95, "H1");
    CHECK(r.bore_px.value() == 132);
    CHECK(r.keepout.min_px.value() == 20);
    CHECK_FALSE(r.x_mm.has_value());
    for (const Estimate& mm :
         {r.bore_mm, r.drill_mm, r.roundness_mm, r.keepout.min_mm, r.wall.thickness_um}) {
        CHECK_FALSE(mm.has_value());
        CHECK(mm.why() == "no scale");
    }
    CHECK(r.inscribed_mm.why() == "not measured"); // the older reason is the better one
    CHECK(*r.keepout.profile[0].gap_px == 30);
    CHECK_FALSE(r.keepout.profile[0].gap_mm.has_value());
    CHECK(
        r.keepout.profile[0].why.empty()); // the four words of the contract tell of directions without a gap
    CHECK(r.keepout.profile[2].why == "own");
}

TEST_CASE("a hole without a measured ring has its 360 directions, none of them seen; a via has none") {
    Hole hole = hole_in_px();
    hole.keepout = {};
    for (const HoleKind kind : {HoleKind::hole, HoleKind::slot, HoleKind::filled}) {
        hole.kind = kind;
        const auto profile = record_of(hole, Scale::of(0.02, 0.02, 0.01, "test"), 0.95, "H1").keepout.profile;
        REQUIRE(profile.size() == 360);
        for (std::size_t i = 0; i < profile.size(); ++i) {
            CHECK(profile[i].angle_deg == static_cast<double>(i));
            CHECK(profile[i].why == "hidden");
            CHECK_FALSE(profile[i].gap_px.has_value());
        }
    }
    hole.kind = HoleKind::via;
    CHECK(record_of(hole, Scale::of(0.02, 0.02, 0.01, "test"), 0.95, "H1").keepout.profile.empty());
}

TEST_CASE("pixels that are not square make no round hole out of round beyond its uncertainty") {
    Hole hole = hole_in_px();
    hole.roundness_px =
        Estimate::of(132 * 0.003, 0.01); // what a circle of 132 px shows at 0.6 % between x and y
    const HoleRecord r = record_of(hole, Scale::of(0.025 * 0.997, 0.025 * 1.003, 0.01, "test"), 0.95, "H1");
    CHECK(r.roundness_mm.value() - 2 * r.roundness_mm.u() < 0);
}
