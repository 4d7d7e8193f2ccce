// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>
#include <utility>

namespace ringwall::test {

/// An invented board with every finding, made by hand: a picture of discs and the record that fits it. Rings
/// are circles that sit off-centre round their holes, so that gaps differ by direction.
class Sample {
  public:
    static constexpr double pixel_mm = 0.025;
    Image<float> t{1480, 1000};
    BoardRecord record;

    Sample();

  private:
    struct Ring {
        double width_px = 0, off_px = 0, toward_deg = 0; ///< mean gap; how far and where the hole sits off it
    };
    HoleRecord& add_hole(const std::string& name, Point at, WallState wall, Ring ring);
    void add_vias(int count);
    void paint(Point at, double radius, float value);
    void add_noise();
    void add_screw(HoleRecord& hole, Finding finding, double contact_mm, double u_mm);
    void add_evidence();
    void touching_hole();
    void hidden_hole();
    void plated_hole();
};

inline void Sample::paint(Point at, double radius, float value) {
    const auto from = [&](double middle) { return std::max(0, static_cast<int>(middle - radius)); };
    const auto to = [&](double middle, int size) {
        return std::min(size - 1, static_cast<int>(middle + radius) + 1);
    };
    for (int y = from(at.y); y <= to(at.y, t.height()); ++y)
        for (int x = from(at.x); x <= to(at.x, t.width()); ++x)
            if (std::hypot(x - at.x, y - at.y) < radius) t(x, y) = value;
}

inline void Sample::add_noise() {
    std::uint32_t state = 5;
    for (int y = 0; y < t.height(); ++y)
        for (int x = 0; x < t.width(); ++x) {
            state = state * 1664525U + 1013904223U;
            t(x, y) += static_cast<float>(static_cast<double>(state >> 8) / (1 << 24) - 0.5) * 0.04F;
        }
}

inline HoleRecord& Sample::add_hole(const std::string& name, Point at, WallState wall, Ring ring) {
    constexpr double radius = 66; // 3.3 mm
    const double a = ring.toward_deg * std::numbers::pi / 180;
    const Point middle{at.x - ring.off_px * std::cos(a), at.y + ring.off_px * std::sin(a)};
    const double outer = radius + ring.width_px;
    paint(middle, outer, 0.78F);
    if (wall == WallState::plated) paint(at, radius, 0.25F);
    paint(at, wall == WallState::plated ? radius - 1.4 : radius, 0.97F);
    HoleRecord hole;
    hole.id = "H" + std::to_string(record.holes.size() + 1);
    hole.name = name;
    hole.purpose = "mounting";
    hole.x_px = at.x, hole.y_px = at.y;
    hole.u_x_px = hole.u_y_px = 0.03;
    hole.x_mm = at.x * pixel_mm, hole.y_mm = at.y * pixel_mm;
    const double bore = wall == WallState::plated ? 2 * radius - 2.8 : 2 * radius;
    hole.bore_px = Estimate::of(bore, 0.09);
    hole.drill_px = Estimate::of(2 * radius, 0.11);
    hole.bore_mm = hole.bore_px.scaled(pixel_mm, 0.002);
    hole.drill_mm = hole.drill_px.scaled(pixel_mm, 0.002);
    hole.inscribed_mm = Estimate::of(bore * pixel_mm - 0.012, 0.006);
    hole.roundness_mm = Estimate::of(0.018, 0.006);
    hole.furthest_void_mm = Estimate::of(bore / 2 * pixel_mm + 0.009, 0.005);
    hole.shape.state = HoleShape::round;
    hole.wall.state = wall;
    if (wall == WallState::plated) {
        hole.wall.covered_fraction = 1;
        hole.wall.thickness_um = Estimate::of(34.2, 2.6);
    }
    for (int k = 0; k < 360; k += 3)
        hole.contour.push_back({static_cast<double>(k), bore / 2, 0.1});
    hole.keepout.state = KeepOutState::ring_seen;
    double least = 1e9;
    for (int k = 0; k < 360; ++k) {
        const double turn = (k - ring.toward_deg) * std::numbers::pi / 180; // from the middle to the circle
        const double along = -ring.off_px * std::cos(turn), across = ring.off_px * std::sin(turn);
        const double gap = along + std::sqrt(outer * outer - across * across) - radius;
        hole.keepout.profile.push_back({static_cast<double>(k), gap * pixel_mm, gap, 0.009, ""});
        if (gap < least) least = gap, hole.keepout.min_angle_deg = k;
    }
    hole.keepout.min_px = Estimate::of(least, 0.3);
    hole.keepout.min_mm = hole.keepout.min_px.scaled(pixel_mm, 0.002);
    hole.keepout.p_low_mm = least * pixel_mm - 0.013;
    const auto line = [&](const char* quantity, const char* component, double u, double share) {
        hole.budget.push_back({quantity, component, u, share});
    };
    line("bore_mm", "noise", 0.0012, 0.03), line("bore_mm", "edge model", 0.0021, 0.08);
    line("bore_mm", "level choice", 0.0029, 0.16), line("bore_mm", "scale", 0.0066, 0.73);
    line("keepout_min_mm", "noise", 0.0051, 0.4), line("keepout_min_mm", "edge model", 0.0031, 0.15);
    line("keepout_min_mm", "level choice", 0.0053, 0.43), line("keepout_min_mm", "scale", 0.0011, 0.02);
    line("margin_mm", "noise", 0.0051, 0.25), line("margin_mm", "level choice", 0.0053, 0.27);
    line("margin_mm", "scale", 0.0033, 0.11), line("margin_mm", "height of the plane", 0.0062, 0.37);
    line("wall_thickness_um", "noise", 1.4, 0.3),
        line("wall_thickness_um", "grey level of plating", 2.2, 0.7);
    record.holes.push_back(std::move(hole));
    return record.holes.back();
}

inline void Sample::add_vias(int count) {
    for (int i = 0; i < count; ++i) {
        const Point at{560.0 + 26 * (i % 12), 470.0 + 26 * (i / 12)};
        paint(at, 9, 0.2F);
        paint(at, 6, 0.95F);
        HoleRecord via;
        via.id = "H" + std::to_string(record.holes.size() + 1);
        via.kind = HoleKind::via;
        via.x_px = at.x, via.y_px = at.y;
        via.bore_px = Estimate::of(12, 0.2), via.drill_px = Estimate::of(14, 0.2);
        via.bore_mm = via.bore_px.scaled(pixel_mm), via.drill_mm = via.drill_px.scaled(pixel_mm);
        via.wall.state = WallState::plated;
        record.holes.push_back(std::move(via));
    }
}

inline void Sample::add_screw(HoleRecord& hole, Finding finding, double contact_mm, double u_mm) {
    ScrewFit fit;
    fit.name = "UNC6-32";
    fit.engagement = Engagement::cuts;
    fit.resting_reach_mm = 1.753, fit.cutting_reach_mm = 2.071, fit.required_mm = 0.1;
    fit.contact_margin_mm = Estimate::of(contact_mm, u_mm);
    fit.margin_mm = Estimate::of(contact_mm - 0.1, u_mm);
    fit.cutting_margin_mm = Estimate::of(contact_mm - 0.418, u_mm);
    fit.margin_low_mm = contact_mm - 0.1 - 1.645 * u_mm;
    fit.finding = finding;
    fit.why = "the thread in line with the hole is what comes nearest";
    if (finding == Finding::undecided) {
        fit.would_decide = "a picture with pixels of 10 µm or less, or a slice stack of this corner";
        fit.forbids_gap = {"part of the turn is hidden", "copper of 11 µm must be assumed, and this picture "
                                                         "shows none thinner than 18 µm"};
    }
    fit.paths = {{"thread",
                  "",
                  {},
                  1,
                  *fit.resting_reach_mm,
                  fit.contact_margin_mm,
                  fit.margin_mm,
                  fit.cutting_margin_mm,
                  finding,
                  ""},
                 {"head",
                  "near",
                  {},
                  {},
                  2.92,
                  Estimate::of(contact_mm - 1.17, u_mm),
                  Estimate::of(contact_mm - 1.27, u_mm),
                  {},
                  Finding::undecided,
                  "only if this copper is on the outer face"}};
    fit.not_judged = {"washer: not given", "far side: its outline was not given"};
    fit.alternatives = {{"row B4 instead of B1", Estimate::of(contact_mm - 0.13, u_mm), finding},
                        {"screw at its smallest, 3.383 mm", Estimate::of(contact_mm - 0.039, u_mm), finding},
                        {"screw runs free instead of cutting in",
                         Estimate::missing("the screw is wider than the hole"), Finding::undecided}};
    hole.screw = fit;
}

inline void Sample::touching_hole() {
    HoleRecord& hole = add_hole("lid, front left", {220, 220}, WallState::bare, {26, 40, 140});
    auto& keepout = hole.keepout;
    keepout.state = KeepOutState::touching;
    keepout.touching_arcs_deg = {{79, 201}};
    for (auto& gap : keepout.profile)
        if (gap.gap_px && *gap.gap_px < 0) gap.gap_px = gap.gap_mm = 0;
    keepout.min_px = Estimate::of(0, 0.4), keepout.min_mm = Estimate::of(0, 0.01);
    keepout.largest_gap_not_excluded_mm = 0.02;
    hole.shape.state = HoleShape::out_of_round;
    hole.shape.excess_mm = Estimate::of(0.041, 0.007);
    hole.shape.arcs_deg = {{120, 160}};
    add_screw(hole, Finding::reaches, -0.103, 0.011);
}

inline void Sample::hidden_hole() {
    HoleRecord& hole = add_hole("lid, rear right", {1220, 220}, WallState::bare, {34, 8, 30});
    hole.seen_fraction = 0.78;
    hole.hidden_arcs_deg = {{200, 279}};
    for (auto& gap : hole.keepout.profile)
        if (gap.angle_deg >= 200 && gap.angle_deg <= 279) gap = {gap.angle_deg, {}, {}, {}, "hidden"};
    add_screw(hole, Finding::undecided, 0.51, 0.012);
}

inline void Sample::plated_hole() {
    HoleRecord& hole = add_hole("chassis", {220, 760}, WallState::plated, {30, 0, 0});
    hole.keepout.state = KeepOutState::runs_on;
    hole.keepout.own_outer_mm = 1.95;
    for (const double spoke : {45.0, 135.0, 225.0, 315.0}) {
        hole.keepout.runs_on_arcs_deg.push_back({spoke - 12, spoke + 12});
        for (auto& gap : hole.keepout.profile)
            if (std::abs(gap.angle_deg - spoke) <= 12) gap = {gap.angle_deg, {}, {}, {}, "own"};
    }
    add_screw(hole, Finding::undecided, 0.42, 0.014);
    hole.screw->forbids_gap = {
        "own copper runs on into a plane: whether that is a supply, only the meter can say"};
}

inline void Sample::add_evidence() {
    record.intake = {"SN-0007", "42", 800, "returned"};
    record.picture_notes = {{"sample-face.tif", "R. Operator", "2026-11-02", "2026-05-01", "0.5 mm copper",
                             "none", "", "", 90, 140, 64, 0}};
    record.custody = {{"2026-10-30 09:10", "collection point", "test bench", "A 1188", "A 1188", "6"},
                      {"2026-11-02 08:00", "test bench", "cabinet", "A 1188", "B 0004", "2"}};
    HandMeasured pin{"bore", "H2", 3.29, 0.006, "pin gauge", 3.300, 0.007, true, ""};
    HandMeasured screw{
        "screw_major", "", 3.47, 0.004, "micrometer", {}, {}, {}, "a face-on picture shows no screw"};
    HandMeasured wrong{"bore", "H3", 3.41, 0.006, "pin gauge", 3.300, 0.007, false, ""};
    record.measured = {pin, screw, wrong};
    ContinuityReading supply;
    supply.line = 2, supply.a = "J1.1 (+24 V)", supply.b = "H1 wall", supply.expect = Joint::open;
    supply.reading = Joint::joined, supply.ohms = 0.7, supply.lead_ohms = 0.2,
    supply.behaviour = ReadingBehaviour::steady;
    supply.setup = "bare board, no screw", supply.polarity = "both", supply.meter = "bench meter 3";
    supply.calibrated_on = "2026-03-01", supply.when = "2026-11-01", supply.by = "T. Tester";
    ContinuityReading ground = supply;
    ground.line = 3, ground.a = "J1.2 (0 V)", ground.b = "H5", ground.expect = ground.reading = Joint::joined;
    record.continuity = {supply, ground};
    record.meter.resize(2);
    record.meter[0].hole = "H1", record.meter[0].lines = {2}, record.meter[0].contact_proven = true;
    record.meter[1].hole = "H5", record.meter[1].lines = {3};
    record.meter[0].says = record.meter[1].says = MeterAgreement::Says::agrees;
    record.meter[0].why = "a supply pin is joined to the wall of this bare hole: copper is exposed there";
    record.meter[1].why = "the ground pin is joined, as it should be";
    Decision wall;
    wall.act = Decision::Act::set_wall, wall.at_px = {220, 760}, wall.wall = WallState::plated;
    wall.who = "T. Tester", wall.when = "2026-11-03", wall.why = "seen under the microscope";
    wall.after_result = true;
    record.decisions = {wall};
    record.left_out = {"intake.lot"};
    record.not_proven = {
        "A face-on picture adds all copper layers together: which layer a plane lies on, and which "
        "plane is live, is not visible; a plane in front can hide a ring behind it."};
}

inline Sample::Sample() {
    for (int y = 0; y < t.height(); ++y)
        for (int x = 0; x < t.width(); ++x)
            t(x, y) = 0.42F;
    record.program = {"ringwall", "0.1.0", "abc1234", {{"libtiff", "4.5.0"}, {"cairo", "1.16.0"}}};
    record.options = {{"shot", "\"face\""}, {"pixel_mm", "[0.025, 0.025]"}, {"flat", "null"}};
    record.name = "Sample controller (invented)", record.revision = "A", record.unit = "A-0007";
    SourceRecord source;
    source.file = "pictures/sample-face.tif";
    source.sha256 = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08";
    source.width_px = t.width(), source.height_px = t.height(), source.bits = 16;
    source.radiometry = Radiometry::linear;
    source.pixel_mm = Estimate::of(pixel_mm, pixel_mm * 0.002);
    source.pixel_xy_mm = {pixel_mm, pixel_mm};
    source.pixel_mm_from = "given by the user";
    source.blur_sigma_px = Estimate::of(1.12, 0.03);
    source.noise_photons = 5210;
    source.smallest_foil_seen_um = 18.3;
    source.warnings = {"copper down to 18 µm would have been seen as the end of a trace 0.15 mm wide"};
    record.sources = {source};
    Screw screw{"UNC6-32", 3.505, 2.642, 3.383, 3.485, 5.84, {}, {}, {}, 0, {}, "ASME B1.1, from memory"};
    record.screw = screw;
    record.rule.voltage_peak_v = 24, record.rule.row = "B1";
    record.holes.reserve(300);
    touching_hole();
    add_screw(add_hole("lid, front right", {720, 220}, WallState::bare, {12, 6, 250}), Finding::too_close,
              0.06, 0.011);
    hidden_hole();
    add_screw(add_hole("lid, middle", {720, 780}, WallState::bare, {40, 5, 320}), Finding::gap_shown, 0.83,
              0.013);
    plated_hole();
    add_hole("spare", {1220, 760}, WallState::bare, {40, 4, 80}).screw_why =
        "the case says that no screw is used here";
    add_vias(48);
    add_noise();
    add_evidence();
}

} // namespace ringwall::test
