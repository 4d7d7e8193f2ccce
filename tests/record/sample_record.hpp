// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

namespace ringwall::test {

/// A record in which every field differs from its default and from its neighbours, so that a swapped or lost
/// one shows.
inline ScrewFit sample_fit() {
    ScrewFit fit;
    fit.name = "M3", fit.engagement = Engagement::cuts;
    fit.resting_reach_mm = 1.65, fit.cutting_reach_mm = 1.96, fit.required_mm = 0.6;
    fit.contact_margin_mm = Estimate::of(0.31, 0.01), fit.contact_margin_high_mm = 0.33;
    fit.margin_mm = Estimate::of(-0.29, 0.011), fit.margin_low_mm = -0.31, fit.margin_high_mm = -0.27;
    fit.cutting_margin_mm = Estimate::missing("no ring");
    fit.finding = Finding::too_close;
    fit.why = "nearer than asked for", fit.would_decide = "smaller pixels";
    fit.forbids_gap = {"first, second", "third"};
    fit.not_judged = {"head: its diameter is not given"};
    fit.paths = {{"thread", "", std::nullopt, 1, 1.65, Estimate::of(0.31, 0.012), Estimate::of(-0.29, 0.013),
                  Estimate::of(-0.41, 0.014), Finding::reaches, "one"},
                 {"head", "near", 4, std::nullopt, 2.75, Estimate::missing("layer unknown"),
                  Estimate::missing("size unknown"), Estimate::missing("only a thread cuts in"),
                  Finding::gap_shown, ""}};
    fit.alternatives = {{"row B1", Estimate::of(0.21, 0.014), Finding::gap_shown},
                        {"scale + U", Estimate::missing("none"), Finding::undecided}};
    return fit;
}

/// What a person states: every field differs.
inline void put_case_facts(BoardRecord& record) {
    record.intake = {"SN 7", "L 3", 40, "returned"};
    record.picture_notes = {{"pictures/face.tif", "N. N.", "2026-03-01", "2026-01", "0.5 mm Al", "none",
                             "old/first.tif", "bracket", 90, 50.5, 16, 2},
                            {"edge.tif", "", "", "", "", "", "", "", {}, {}, {}, {}}};
    record.custody = {{"2026-03-02", "lab", "bench", "A1", "A2", "1.jpg"}, {}};
    record.measured = {{"bore", "H1", 3.31, 0.004, "pin gauge", 3.3, 0.034, true, "0.010 mm apart"},
                       {"head", "", 5.5, {}, "", {}, {}, {}, "cannot be told"}};
    record.continuity = {
        {2, "H1", "+24V", Joint::open, Joint::joined, 0.4, ReadingBehaviour::rising, "bare board", "both",
         0.2, "meter 1", "2026-01-05", "10:30", "N. N.", "odd"},
        {3, "H2", "GND", {}, Joint::open, {}, ReadingBehaviour::unknown, "", "", {}, "", "", "", "", ""}};
    record.meter = {{"H1", MeterAgreement::Says::contradicts, "supply joined", {2, 4}, true},
                    {"H2", MeterAgreement::Says::proves_nothing, "open proves nothing", {3}, false},
                    {"H3", MeterAgreement::Says::agrees, "ground joined", {}, false}};
    record.screw = Screw{"M3", 2.98, 2.387, 2.874, 2.99, 5.5, 7.0, 3.2, 6.0, 1.5, Engagement::free, "table"};
    record.rule = {24, VoltageKind::dc, "B4", 0.61};
    record.holes_not_found = {"\"corner\""};
    record.left_out = {"evidence.custody", "decisions.who"};
}

inline HoleRecord sample_hole(const std::string& id, double offset) {
    HoleRecord hole;
    hole.id = id;
    hole.kind = HoleKind::hole;
    hole.seen_fraction = 0.75;
    hole.hidden_arcs_deg = {{10, 100}};
    hole.x_px = 101.25 + offset, hole.y_px = 202.5 + offset, hole.u_x_px = 0.011, hole.u_y_px = 0.012;
    hole.x_mm = 2.53125 + offset, hole.y_mm = 5.0625 + offset;
    hole.bore_mm = Estimate::of(3.3, 0.034);
    hole.bore_px = Estimate::of(132, 0.05);
    hole.inscribed_mm = Estimate::of(3.28, 0.035);
    hole.drill_mm = Estimate::of(3.36, 0.036);
    hole.drill_px = Estimate::of(134.4, 0.06);
    hole.roundness_mm = Estimate::of(0.02, 0.004);
    hole.furthest_void_mm = Estimate::of(1.67, 0.018);
    hole.shape = {HoleShape::out_of_round,
                  Estimate::of(0.11, 0.007),
                  Estimate::missing("too small to see"),
                  {{350, 12.5}}};
    hole.contour = {{0, 66, 0.1}, {120, 66.5, 0.2}, {240, 65.75, 0.3}};
    hole.wall = {WallState::incomplete,
                 "",
                 0.8,
                 {{30, 102}},
                 Estimate::of(25, 1.5),
                 Estimate::missing("no linear scale")};
    KeepOutRecord& keepout = hole.keepout;
    keepout.state = KeepOutState::touching;
    keepout.min_mm = Estimate::of(0, 0.01);
    keepout.min_px = Estimate::of(0, 0.4);
    keepout.min_angle_deg = 45, keepout.p_low_mm = 0.0, keepout.searched_to_mm = 4.0, keepout.mean_mm = 0.3;
    keepout.own_outer_mm = 2.5, keepout.largest_gap_not_excluded_mm = 0.02;
    keepout.touching_arcs_deg = {{40, 50}}, keepout.runs_on_arcs_deg = {{1, 2}};
    keepout.profile = {{0, 0.31, 12.4, 0.01, ""}, {1, std::nullopt, std::nullopt, std::nullopt, "hidden"}};
    PlaneRecord plane;
    plane.plane = 2, plane.layer = 3, plane.z_mm = 0.4, plane.state = KeepOutState::ring_seen;
    plane.min_mm = Estimate::of(0.7, 0.02), plane.min_px = Estimate::of(28, 0.8), plane.min_angle_deg = 7,
    plane.p_low_mm = 0.66;
    plane.profile = {{0, 0.7, 28, 0.02, ""}};
    keepout.planes = {plane};
    hole.stack = StackHoleRecord{"wall-H1.png", Estimate::of(0.01, 0.002), {1, 3}, {{17, 23, 0.42, 0.58}}};
    hole.budget = {{"bore_mm", "noise", 0.003, 0.1}, {"bore_mm", "scale", 0.009, 0.9}};
    hole.name = "top \"left\"", hole.purpose = "mounting";
    hole.screw = sample_fit();
    hole.added_by_person = true;
    return hole;
}

inline SourceRecord sample_source() {
    SourceRecord source;
    source.file = "../pictures/board \"a\" µ.tif";
    source.sha256 = "ab12";
    source.width_px = 640, source.height_px = 480, source.bits = 16;
    source.radiometry = Radiometry::linear, source.dense = DenseSide::bright;
    source.pixel_mm = Estimate::of(0.025, 0.00025);
    source.pixel_xy_mm = {0.0249, 0.0251};
    source.pixel_mm_from = "given by the user";
    source.side_to_source = "top";
    source.geometry = PictureGeometry{210, Point{320, 240.5}, std::nullopt};
    source.blur_sigma_px = Estimate::of(1.1, 0.02);
    source.noise_photons = 5000, source.noise_readout = 0.002, source.saturated_fraction = 0.01;
    source.smallest_foil_seen_um = 9;
    source.warnings = {"one", "two"};
    return source;
}

inline BoardRecord sample_record() {
    BoardRecord record;
    record.program = {"ringwall", "0.1.0", "abc", {{"libtiff", "4.5.0"}, {"ITK", "5.2.1"}}};
    record.options = {{"pixel_mm", "[0.0249, 0.0251]"}, {"dense", "\"auto\""}, {"board_mm", "null"}};
    record.confidence = 0.9;
    record.name = "board", record.revision = "B", record.unit = "7";
    record.thickness_mm = Estimate::missing("not seen face-on");
    record.sources = {sample_source()};
    LayerRecord stated, other;
    stated.number = 1, stated.z_mm = 0.02, stated.thickness_um = Estimate::of(35, 1);
    stated.picture = "layer-1.png";
    stated.z_slices = Estimate::of(0.8, 0.05), stated.thickness_slices = Estimate::of(1.4, 0.04);
    stated.stated_role = "ground", stated.evidence = "drawing 7 of N. N.";
    stated.treated_as_live = false;
    other.number = 2;
    record.layers = {stated, other};
    record.holes = {sample_hole("H1", 0), sample_hole("H2", 0.1)};
    record.holes[1].kind = HoleKind::via;
    record.holes[1].budget.clear();
    record.holes[1].screw.reset();
    record.holes[1].screw_why = "a screw is judged in holes only";
    put_case_facts(record);
    record.decisions = {
        {Decision::Act::add_hole,
         {1, 2},
         {},
         15.5,
         WallState::undecided,
         "me",
         "2026-01-01",
         "seen",
         true,
         ""},
        {Decision::Act::set_wall, {3, 4}, {}, 0, WallState::bare, "me", "2026-01-02", "meter", false, ""},
        {Decision::Act::set_scale, {5, 6}, {7, 8}, 12.5, WallState::undecided, "me", "", "gauge", false, ""},
        {Decision::Act::strike_out, {9, 10}, {}, 0, WallState::undecided, "me", "", "text", false, ""}};
    record.not_proven = {"this", "that"};
    record.partial = true;
    record.why_nothing = "no reason";
    return record;
}

} // namespace ringwall::test
