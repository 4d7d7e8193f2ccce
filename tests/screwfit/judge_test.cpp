// SPDX-License-Identifier: Apache-2.0
#include "screwfit/decision.hpp"
#include "screwfit/fit_screw.hpp"

#include "core/statistics.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

using namespace ringwall;
using namespace ringwall::screwfit;

namespace {

constexpr double pixel_mm = 0.025;

Scale scale_of(double relative_u = 0.002) {
    return Scale::of(pixel_mm, pixel_mm, relative_u, "test");
}

/// A bare round hole with a ring of `gap_mm`, u of the gap 0.002 mm.
Hole bare_hole(double bore_mm, double gap_mm) {
    Hole hole;
    hole.kind = HoleKind::hole;
    hole.centre_px = {400, 300};
    hole.bore_px = Estimate::of(bore_mm / pixel_mm, 0.05);
    hole.drill_px = hole.bore_px;
    hole.shape = HoleShape::round;
    hole.wall.state = WallState::bare;
    KeepOut& ring = hole.keepout;
    ring.state = KeepOutState::ring_seen;
    const double u_px = 0.002 / pixel_mm;
    ring.min_px = Estimate::of(gap_mm / pixel_mm, u_px);
    ring.p_low_px = ring.min_px.value() - 1.645 * u_px;
    ring.searched_to_px = 300;
    hole.budget_px.push_back({"keepout_min_px", "noise", u_px, 1});
    return hole;
}

/// The 3.505 mm screw, a rule that asks for 0.1 mm, a picture that shows all copper that counts.
Judging judging() {
    Judging with;
    with.screw.name = "UNC6-32";
    with.screw.major_mm = 3.5052;
    with.screw.minor_mm = 2.411;
    with.rule = {24, VoltageKind::dc, "B2", {}};
    with.board_mm = 1.6;
    with.smallest_foil_seen_um = 10;
    with.thinnest_foil_um = 24.5;
    return with;
}

ScrewFit judged(const Hole& hole, const Judging& with, const Scale& scale = scale_of()) {
    const Judged result = judge(hole, scale, with);
    REQUIRE(result.screw);
    return *result.screw;
}

double u_of(const Judged& result, const std::string& quantity, const std::string& component) {
    for (const BudgetLine& line : result.budget)
        if (line.quantity == quantity && line.component == component) return line.u;
    return 0;
}

} // namespace

TEST_CASE("three outcomes, not two: lower limit 0.50 mm, u 0.05 mm") {
    // Worked after JCGM 106 (from memory): y 0.60 accepted; 0.58 (pc 0.9452) and 0.50 undecided; 0.42 (pc
    // 0.0548) not proven failing either, which needs y <= 0.4178.
    RingInMm ring;
    ring.fit = {{"noise", 0.05}};
    const double z = normal_quantile(0.95);
    const auto finding = [&](double y) {
        const Margin contact = margin_of(ring, y, 0, z), spaced = margin_of(ring, y - 0.50, 0, z);
        return decide(contact, spaced, spaced, false);
    };
    CHECK(finding(0.60) == Finding::gap_shown);
    CHECK(finding(0.58) == Finding::undecided);
    CHECK(finding(0.50) == Finding::undecided);
    CHECK(finding(0.42) == Finding::undecided);
    CHECK(finding(0.4177) == Finding::too_close);
    CHECK(finding(-0.2) == Finding::reaches);
}

TEST_CASE("a free screw leans on the wall: the space left is the ring, less the spacing") {
    const ScrewFit wide = judged(bare_hole(3.7, 0.40), judging());
    CHECK(wide.engagement == Engagement::free);
    CHECK(wide.contact_margin_mm.value() == doctest::Approx(0.40));
    CHECK(wide.margin_mm.value() == doctest::Approx(0.30));
    // u: 0.002 from the fit and 0.2 % of the 0.40 mm measured
    CHECK(wide.margin_mm.u() == doctest::Approx(std::hypot(0.002, 0.0008)));
    CHECK(wide.finding == Finding::gap_shown);
    // the cutting case stands beside it: half of d - d1 into the wall
    CHECK(wide.cutting_margin_mm.value() == doctest::Approx(0.30 - 0.5471).epsilon(1e-3));
    CHECK(judged(bare_hole(3.7, 0.08), judging()).finding == Finding::too_close);
    CHECK(judged(bare_hole(3.7, 0.101), judging()).finding == Finding::undecided);
}

TEST_CASE("a screw wider than the hole: its radius counts, and cutting decides whether a gap is shown") {
    Judging with = judging();
    const ScrewFit screw = judged(bare_hole(3.3, 0.80), with);
    CHECK(screw.engagement == Engagement::cuts);
    CHECK(screw.contact_margin_mm.value() == doctest::Approx(1.65 + 0.80 - 1.7526));
    // the whole radius was measured: the scale's share is of 2.45 mm, not of the 0.80 mm alone
    CHECK(screw.contact_margin_mm.u() == doctest::Approx(std::hypot(0.002, 0.0049)).epsilon(1e-3));
    CHECK(screw.cutting_margin_mm.value() == doctest::Approx(0.80 - 0.5471 - 0.1).epsilon(1e-3));
    CHECK(screw.finding == Finding::gap_shown);
    const ScrewFit between = judged(bare_hole(3.3, 0.50), with);
    CHECK(between.finding == Finding::undecided);
    CHECK(between.why == "Reached only if the thread cuts into the wall.");
    // cut in, the thread would stand 0.60 - 0.547 = 0.053 mm from copper: nearer than 0.1 mm, and no contact
    const ScrewFit nearer = judged(bare_hole(3.3, 0.60), with);
    CHECK(nearer.finding == Finding::undecided);
    CHECK(nearer.why.starts_with("No contact shown; nearer than "));
    CHECK(nearer.why.ends_with(" only if the thread cuts into the wall."));
    with.rule.voltage_peak_v = 600;
    with.rule.required_mm = 0.1;
    CHECK(judged(bare_hole(3.3, 0.60), with).would_decide.ends_with("the product's safety standard decides"));
    with = judging();
    CHECK(judged(bare_hole(3.3, 0.05), with).finding == Finding::reaches);
    with.screw.engagement = Engagement::free; // a person says that it does not cut
    CHECK(judged(bare_hole(3.3, 0.50), with).finding == Finding::gap_shown);
}

TEST_CASE("a margin that the scale leaves open is undecided; the budget's shares make one") {
    const Judged result = judge(bare_hole(3.3, 0.22), scale_of(0.02), judging());
    CHECK(result.screw->finding == Finding::undecided);
    double shares = 0;
    for (const BudgetLine& line : result.budget)
        if (line.quantity == "margin_mm") shares += line.share;
    CHECK(shares == doctest::Approx(1));
    CHECK(u_of(result, "margin_mm", "scale") == doctest::Approx(0.02 * (1.65 + 0.22)));
}

TEST_CASE("copper at a bare wall is contact when a gap of 0.05 mm would have shown") {
    Hole hole = bare_hole(3.7, 0);
    hole.keepout.state = KeepOutState::touching;
    hole.keepout.min_px = Estimate::of(0, 0.5);
    hole.keepout.largest_gap_not_excluded_px = 1.0; // 0.025 mm
    CHECK(judged(hole, judging()).finding == Finding::reaches);
    hole.keepout.largest_gap_not_excluded_px = 2.4; // 0.06 mm
    const ScrewFit screw = judged(hole, judging());
    CHECK(screw.finding == Finding::undecided);
    CHECK(screw.why.find("gap is below 0.060 mm") != std::string::npos);
}

TEST_CASE("everything that forbids gap_shown does, and is named") {
    const auto forbidden = [](const Hole& hole, const Judging& with, const std::string& words) {
        const ScrewFit screw = judged(hole, with);
        CAPTURE(words);
        CHECK(screw.finding == Finding::undecided);
        CHECK(std::any_of(screw.forbids_gap.begin(), screw.forbids_gap.end(),
                          [&](const std::string& s) { return s.find(words) != std::string::npos; }));
        CHECK_FALSE(screw.would_decide.empty());
    };
    const Hole wide = bare_hole(3.7, 0.9);
    REQUIRE(judged(wide, judging()).finding == Finding::gap_shown);
    Judging with = judging();
    with.rule = {};
    forbidden(wide, with, "No spacing rule is given");
    with = judging();
    with.smallest_foil_seen_um = 30;
    forbidden(wide, with, "sure to show it from 30 µm on");
    with.thinnest_foil_um = 29.8; // never "down to 30 and from 30 on"
    forbidden(wide, with,
              "down to 29.8 µm must be assumed, and this picture is sure to show it from 30.0 µm");
    with = judging();
    with.smallest_foil_seen_um.reset();
    forbidden(wide, with, "not known");
    with = judging();
    with.rule.voltage_peak_v = 61;
    forbidden(bare_hole(3.7, 2.5), with, "60 V DC");
    with = judging();
    with.screw.tilt_deg = 1;
    with.board_mm.reset();
    forbidden(wide, with, "crooked");
    with = judging();
    with.stack_forbids = {"Between the layers seen nothing was looked for."};
    forbidden(wide, with, "Between the layers");
    Hole hidden = wide;
    hidden.seen_fraction = 0.9;
    forbidden(hidden, judging(), "90.0 % of it was seen");
    hidden.seen_fraction = 0.985;
    forbidden(hidden, judging(), "98.5 % of it was seen");
    hidden.seen_fraction = 0.995; // 0.058 mm of the wall: half of any trace still shows
    CHECK(judged(hidden, judging()).finding == Finding::gap_shown);
    hidden.seen_fraction = 0.993; // 0.081 mm
    forbidden(hidden, judging(), "99.3 % of it was seen");
    Hole unsure = wide;
    unsure.wall.state = WallState::undecided;
    forbidden(unsure, judging(), "plated is undecided");
    Hole joined = wide;
    joined.wall.state = WallState::plated;
    joined.keepout.state = KeepOutState::runs_on;
    forbidden(joined, judging(), "runs on into a plane");
    joined.keepout.min_px = Estimate::missing("noise hides where other copper ends");
    CHECK(judged(joined, judging()).contact_margin_mm.why() ==
          "own copper runs on into a plane; noise hides where other copper ends");
}

TEST_CASE("own copper is one conductor with the screw; a land wider than the ring lies on another layer") {
    Hole hole = bare_hole(3.7, 0.60);
    hole.wall.state = WallState::plated;
    hole.bore_px = Estimate::of(3.6 / pixel_mm, 0.05);
    hole.keepout.own_outer_px = (1.85 + 0.25) / pixel_mm;
    CHECK(judged(hole, judging()).contact_margin_mm.value() == doctest::Approx(0.35));
    hole.keepout.own_outer_px = (1.85 + 0.70) / pixel_mm;
    const ScrewFit wider = judged(hole, judging());
    CHECK(wider.contact_margin_mm.value() == doctest::Approx(0.60));
    CHECK(wider.finding == Finding::undecided);
}

TEST_CASE("a hole out of round is judged direction by direction") {
    Hole hole = bare_hole(3.5, 0.30);
    hole.shape = HoleShape::out_of_round;
    Judging with = judging();
    with.screw.major_mm = 3.6; // wider than the narrow direction (3.4), narrower than the wide one (3.9)
    for (int a = 0; a < 360; ++a) {
        const double wide = 0.5 * (1 + std::cos(2 * a * std::numbers::pi / 180));
        const double wall_px = (1.70 + 0.25 * wide) / pixel_mm;
        hole.contour.push_back({static_cast<double>(a), wall_px, 0.05});
        hole.keepout.profile.push_back(
            {static_cast<double>(a), 2.25 / pixel_mm - wall_px, 0.05, GapReason::measured});
    }
    // Copper at 2.25 all round: in the wide direction 0.30 off the wall that the screw leans on; in the
    // narrow one the screw's 1.80 leaves 0.45, more than that.
    CHECK(judged(hole, with).contact_margin_mm.value() == doctest::Approx(0.30).epsilon(0.01));
    with.screw.major_mm = 4.0; // wider than all: 2.25 - 2.00
    CHECK(judged(hole, with).contact_margin_mm.value() == doctest::Approx(0.25).epsilon(0.01));
}

TEST_CASE(
    "head, washer and far side count where their size is given, and face-on never more than undecided") {
    Judging with = judging();
    const Hole hole = bare_hole(3.7, 0.9);
    CHECK(judged(hole, with).paths.size() == 1);
    CHECK(judged(hole, with).not_judged.size() == 4);
    with.screw.head_mm = 6.86; // ends 0.0974 + 3.43 = 3.527 from the centre, copper begins at 2.75
    ScrewFit screw = judged(hole, with);
    REQUIRE(screw.paths.size() == 2);
    CHECK(screw.paths[1].reach_mm == doctest::Approx(3.5274));
    CHECK(screw.paths[1].finding == Finding::undecided);
    CHECK(screw.finding == Finding::undecided);
    CHECK(screw.why.find("the head would not if this copper is on the outer face") != std::string::npos);
    with.screw.head_mm = 5.0;
    CHECK(judged(hole, with).finding == Finding::gap_shown);
    with.screw.washer_mm = 7.92;
    with.screw.washer_bore_mm = 3.96;
    with.screw.far_side_mm = 8;
    CHECK(judged(hole, with).paths.size() == 4);
}

TEST_CASE("no copper in view gives a least gap, slots and vias no screw") {
    Hole hole = bare_hole(3.7, 0);
    hole.keepout.state = KeepOutState::none_in_view;
    hole.keepout.min_px = Estimate::missing("no copper in view");
    const ScrewFit screw = judged(hole, judging());
    CHECK(screw.finding == Finding::gap_shown);
    CHECK_FALSE(screw.margin_mm.has_value());
    REQUIRE(screw.margin_low_mm);
    CHECK(*screw.margin_low_mm > 5);
    hole.kind = HoleKind::slot;
    CHECK_FALSE(judge(hole, scale_of(), judging()).screw);
}

TEST_CASE("what would change the finding: neighbouring rows, both screw limits, engagement, scale") {
    Judging with = judging();
    with.screw.major_min_mm = 3.332;
    with.screw.major_max_mm = 3.485;
    const ScrewFit screw = judged(bare_hole(3.3, 0.75), with);
    for (const char* words :
         {"row B1 instead of B2", "row B3 instead of B2", "lower limit of its class, 3.332 mm",
          "upper limit of its class, 3.485 mm", "the thread does not cut", "0.4 % smaller", "0.4 % larger"}) {
        CAPTURE(words);
        CHECK(std::any_of(screw.alternatives.begin(), screw.alternatives.end(),
                          [&](const Alternative& a) { return a.what.find(words) != std::string::npos; }));
    }
}

TEST_CASE(
    "height of a plane in the beam: magnification of the length, and the shift of a hole off the axis") {
    Judging with = judging();
    with.source_to_board_mm = 200;
    with.centre_px = Point{400 - 2000, 300}; // 50 mm from the hole
    const Judged result = judge(bare_hole(3.7, 0.40), scale_of(), with);
    const double share = 0.8 / 200 / std::sqrt(3.0); // half the board's thickness, rectangular
    CHECK(u_of(result, "margin_mm", "height of the plane") == doctest::Approx(0.40 * share));
    CHECK(u_of(result, "margin_mm", "height of the plane, off the central ray") ==
          doctest::Approx(50 * share));
}

TEST_CASE("without a scale the screw is named and undecided, and every length of it has the reason") {
    Judging with = judging();
    with.screw.head_mm = 5.5;
    const Judged judged = judge(bare_hole(3.7, 0.4), Scale::unknown("no scale: nobody gave one"), with);
    REQUIRE(judged.screw);
    const ScrewFit& fit = *judged.screw;
    CHECK(fit.name == with.screw.name);
    CHECK(fit.finding == Finding::undecided);
    CHECK(fit.why == "no scale: nobody gave one");
    CHECK(fit.would_decide.find("two points in the picture whose distance is known") != std::string::npos);
    for (const Estimate* margin : {&fit.contact_margin_mm, &fit.margin_mm, &fit.cutting_margin_mm})
        CHECK(margin->why() == fit.why);
    CHECK_FALSE(fit.resting_reach_mm);
    CHECK_FALSE(fit.cutting_reach_mm);
    CHECK_FALSE(fit.engagement);
    CHECK(fit.paths.empty());
    CHECK(fit.not_judged.front() == "thread: no scale");
    CHECK(fit.not_judged[1] == "head: no scale");
}

namespace {

/// Rings of 0.9 mm on four layers of a 1.6 mm board, the outer two on its faces.
std::vector<LayerOfHole> four_layers(double bore_mm = 3.7, double gap_mm = 0.9) {
    const std::vector<double> depth_mm{0.035, 0.5, 1.1, 1.565};
    std::vector<LayerOfHole> layers;
    for (int k = 0; k < 4; ++k) {
        LayerOfHole layer{bare_hole(bore_mm, gap_mm), {}};
        layer.place.number = k + 1;
        const double depth = depth_mm[static_cast<std::size_t>(k)];
        layer.place.way_mm = std::max(depth, 1.6 - depth);
        layer.place.low_face = k == 0, layer.place.high_face = k == 3;
        layers.push_back(layer);
    }
    return layers;
}

ScrewFit judged_layers(const std::vector<LayerOfHole>& layers, const Judging& with) {
    const Judged result = judge_layers(layers, scale_of(), with);
    REQUIRE(result.screw);
    return *result.screw;
}

void set_gap(Hole& hole, double gap_mm) {
    hole.keepout = bare_hole(3.7, gap_mm).keepout;
}

std::vector<MetalPath> of_part(const ScrewFit& screw, const std::string& part) {
    std::vector<MetalPath> paths;
    for (const MetalPath& path : screw.paths)
        if (path.part == part) paths.push_back(path);
    return paths;
}

} // namespace

TEST_CASE("a stack's thread is judged on every layer: the worst leads and gives the hole's numbers") {
    std::vector<LayerOfHole> layers = four_layers();
    const ScrewFit all = judged_layers(layers, judging());
    CHECK(all.finding == Finding::gap_shown);
    CHECK(of_part(all, "thread").size() == 4);
    set_gap(layers[2].hole, 0.05);
    const ScrewFit screw = judged_layers(layers, judging());
    CHECK(screw.finding == Finding::too_close);
    CHECK(screw.margin_mm.value() == doctest::Approx(-0.05));
    REQUIRE(of_part(screw, "thread").size() == 4);
    CHECK(screw.paths.front().layer == 3);
    CHECK(screw.paths[1].finding == Finding::gap_shown);
    CHECK(screw.why.starts_with("Layer 3: no contact shown"));
    for (const Alternative& other : screw.alternatives) // each is of all layers
        if (other.finding != Finding::reaches) CHECK(other.margin_mm.value() < 0.2);
}

TEST_CASE("a layer that could not be read keeps the hole undecided, without a number") {
    std::vector<LayerOfHole> layers = four_layers();
    layers[1].hole.keepout.state = KeepOutState::undecided;
    layers[1].hole.keepout.why = "streaks";
    layers[1].hole.keepout.min_px = Estimate::missing("streaks");
    const ScrewFit screw = judged_layers(layers, judging());
    CHECK(screw.finding == Finding::undecided);
    CHECK_FALSE(screw.margin_mm);
    CHECK(screw.paths.front().layer == 2);
    set_gap(layers[3].hole, 0.05); // and yet nothing hides what another layer shows
    CHECK(judged_layers(layers, judging()).finding == Finding::too_close);
}

TEST_CASE("a crooked screw reaches a layer by its way from the further face, not by the board's thickness") {
    Judging with = judging();
    with.screw.tilt_deg = 5;
    const ScrewFit screw = judged_layers(four_layers(), with);
    for (const MetalPath& path : of_part(screw, "thread")) {
        const double way_mm = path.layer == 2 || path.layer == 3 ? 1.1 : 1.565;
        const double lean_mm = way_mm * std::tan(5 * std::numbers::pi / 180);
        CHECK(path.contact_margin_mm.value() == doctest::Approx(0.9 - lean_mm));
    }
}

TEST_CASE("head and washer are judged against the outer layers, and find what holds on either face") {
    Judging with = judging();
    with.screw.head_mm =
        5.9; // overhangs the edge by (5.9 - 3.5052) / 2 = 1.197 mm, past the copper at 0.9 mm
    std::vector<LayerOfHole> layers = four_layers();
    const ScrewFit both = judged_layers(layers, with);
    REQUIRE(of_part(both, "head").size() == 2);
    CHECK(of_part(both, "head")[0].layer == 1);
    CHECK(of_part(both, "head")[1].layer == 4);
    CHECK(both.finding == Finding::reaches);
    CHECK(both.why.find("The head ends 0.297") != std::string::npos);

    set_gap(layers[3].hole, 2.0);
    const ScrewFit one = judged_layers(layers, with);
    CHECK(one.finding == Finding::undecided);
    CHECK(of_part(one, "head")[0].finding == Finding::undecided);
    CHECK(of_part(one, "head")[1].finding == Finding::gap_shown);
    CHECK(one.would_decide.find("which face") != std::string::npos);

    set_gap(layers[3].hole, 1.25); // beyond the head, within the 0.1 mm asked for
    const ScrewFit close = judged_layers(layers, with);
    CHECK(close.finding == Finding::too_close);

    set_gap(layers[0].hole, 2.0), set_gap(layers[3].hole, 2.0); // an inner ring meets no head
    CHECK(judged_layers(layers, with).finding == Finding::gap_shown);
}

TEST_CASE("own copper carries the metal on, on its own layer only") {
    std::vector<LayerOfHole> layers = four_layers();
    layers[0].hole.keepout.own_outer_px =
        (1.85 + 0.85) / pixel_mm; // a land 0.05 mm short of layer 1's copper
    const ScrewFit screw = judged_layers(layers, judging());
    CHECK(screw.finding == Finding::too_close);
    CHECK(screw.paths.front().layer == 1);
    CHECK(screw.paths[1].contact_margin_mm.value() == doctest::Approx(0.9));
}

TEST_CASE("a layer shown to be ground is not counted as live; where all are, all are judged") {
    std::vector<LayerOfHole> layers = four_layers();
    set_gap(layers[2].hole, 0.05);
    layers[2].place.ground = true;
    const ScrewFit screw = judged_layers(layers, judging());
    CHECK(screw.finding == Finding::gap_shown);
    CHECK(of_part(screw, "thread").size() == 3);
    CHECK(std::any_of(screw.not_judged.begin(), screw.not_judged.end(),
                      [](const std::string& said) { return said.starts_with("layer 3: ground"); }));
    for (LayerOfHole& layer : layers)
        layer.place.ground = true;
    CHECK(judged_layers(layers, judging()).finding == Finding::too_close);
}
