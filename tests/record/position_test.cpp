// SPDX-License-Identifier: Apache-2.0
#include "record/position.hpp"

#include <doctest/doctest.h>

using namespace ringwall;

namespace {

ScrewFit cutting_fit(Finding finding) {
    ScrewFit fit;
    fit.engagement = Engagement::cuts;
    fit.resting_reach_mm = 1.75, fit.cutting_reach_mm = 2.2, fit.required_mm = 0.1;
    fit.contact_margin_mm = Estimate::of(0.6, 0.01), fit.margin_mm = Estimate::of(0.5, 0.01);
    fit.cutting_margin_mm = Estimate::of(0.05, 0.01);
    fit.finding = finding;
    return fit;
}

} // namespace

TEST_CASE("an accusation is drawn resting, a gap with the thread cut in") {
    for (const Finding finding : {Finding::reaches, Finding::too_close}) {
        const ScrewFit fit = cutting_fit(finding);
        CHECK(drawn_reach_mm(fit) == 1.75);
        CHECK(space_left_mm(fit).value() == 0.5);
    }
    for (const Finding finding : {Finding::gap_shown, Finding::undecided}) {
        const ScrewFit fit = cutting_fit(finding);
        CHECK(drawn_reach_mm(fit) == 2.2);
        CHECK(space_left_mm(fit).value() == 0.05);
    }
    ScrewFit free = cutting_fit(Finding::gap_shown);
    free.engagement = Engagement::free;
    CHECK(drawn_reach_mm(free) == 1.75);
}

TEST_CASE("without a spacing rule the number is what is left to contact") {
    ScrewFit fit = cutting_fit(Finding::undecided);
    fit.required_mm.reset();
    CHECK(space_left_mm(fit).value() == 0.6);
}

TEST_CASE("the path of a finding: of those with the finding the one with least space left") {
    ScrewFit fit = cutting_fit(Finding::undecided);
    const auto path = [](const char* part, double margin, Finding finding) {
        MetalPath one;
        one.part = part, one.margin_mm = Estimate::of(margin, 0.01), one.finding = finding;
        return one;
    };
    fit.paths = {path("thread", 0.05, Finding::gap_shown), path("head", -0.3, Finding::undecided),
                 path("washer", -0.8, Finding::undecided)};
    CHECK(deciding_path(fit)->part == "washer");
    CHECK(space_left_mm(fit).value() == -0.8);
    // A gap that may not be shown is not the one with least space left.
    fit.paths[0].finding = Finding::undecided;
    CHECK(deciding_path(fit)->part == "washer");
    CHECK(space_left_of(fit) == "washer");
    fit.paths = {path("thread", 0.05, Finding::undecided), path("head", 0.9, Finding::undecided)};
    CHECK(deciding_path(fit)->part == "thread");
    fit.paths.clear();
    CHECK(deciding_path(fit) == nullptr);
}

TEST_CASE(
    "the screw is pushed to the smallest gap, or to the middle of an arc that touches, over 0 degrees too") {
    HoleRecord hole;
    CHECK_FALSE(drawn_angle_deg(hole).has_value());
    hole.keepout.min_angle_deg = 30;
    CHECK(*drawn_angle_deg(hole) == 30);
    hole.keepout.state = KeepOutState::touching;
    hole.keepout.touching_arcs_deg = {{340, 40}};
    CHECK(*drawn_angle_deg(hole) == doctest::Approx(10));
}
