// SPDX-License-Identifier: Apache-2.0
#include "casefile/file_on_disk.hpp"
#include "inspection/case_facts.hpp"
#include "inspection/fake_stages.hpp"
#include "inspection/findings.hpp"
#include "inspection/hand_measured.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

HoleRecord hole_at(const std::string& id, Point px) {
    HoleRecord hole;
    hole.id = id;
    hole.x_px = px.x, hole.y_px = px.y;
    hole.x_mm = px.x * 0.025, hole.y_mm = px.y * 0.025;
    hole.bore_px = Estimate::of(120, 0.1);
    hole.bore_mm = Estimate::of(3, 0.03);
    hole.drill_mm = Estimate::of(3.05, 0.04);
    return hole;
}

CaseHole said_px(Point px, const std::string& name) {
    CaseHole said;
    said.at_px = px;
    said.name = name;
    return said;
}

HandMeasured by_hand(const std::string& what, const std::string& where, double mm, std::optional<double> u) {
    return {what, where, mm, u, "pin gauge", {}, {}, {}, ""};
}

BoardRecord two_holes() {
    BoardRecord record;
    record.sources.resize(1);
    record.holes = {hole_at("H1", {100, 100}), hole_at("H2", {400, 100})};
    record.thickness_mm = Estimate::missing("not seen face-on");
    return record;
}

std::string warnings_of(const BoardRecord& record) {
    std::string all;
    for (const auto& warning : record.sources.front().warnings)
        all += warning + "\n";
    return all;
}

std::string error_of(const FileOnDisk& on_disk, Fault fault) {
    try {
        (void)request_of_case(on_disk.path());
    } catch (const Error& error) {
        CHECK(error.fault() == fault);
        return error.what();
    }
    return "accepted";
}

const std::string picture = "[[picture]]\nfile = \"a.tif\"\n";

} // namespace

TEST_CASE("a length by hand agrees within twice both uncertainties together, at the limit too") {
    // u 0.04 by hand and 0.03 in the picture make 0.05; twice that is 0.10
    const BoardRecord record = two_holes();
    const std::vector said{by_hand("bore", "H1", 3.0999, 0.04), by_hand("bore", "H1", 3.1001, 0.04),
                           by_hand("bore", "H1", 2.8999, 0.04), by_hand("drill", "H2", 3.05, 0.001)};
    const auto beside = beside_the_picture(record, said);
    CHECK(*beside[0].agrees);
    CHECK_FALSE(*beside[1].agrees);
    CHECK_FALSE(*beside[2].agrees);
    CHECK(*beside[3].agrees);
    CHECK(*beside[3].picture_mm == 3.05);
    CHECK(*beside[3].picture_u_mm == 0.04);
    CHECK(contradictions(beside).size() == 2);
    CHECK(contradictions(beside)[0].starts_with(
        "CONTRADICTION: bore of H1 is 3.100 mm by hand (pin gauge) and 3.000 mm in the picture"));
}

TEST_CASE("what cannot be compared says why") {
    const BoardRecord record = two_holes();
    const auto one = [&](const HandMeasured& said) { return beside_the_picture(record, {&said, 1}).front(); };
    const HandMeasured without_u = one(by_hand("bore", "H1", 9, {}));
    CHECK_FALSE(without_u.agrees.has_value());
    CHECK(*without_u.picture_mm == 3);
    CHECK(without_u.why.find("no uncertainty") != std::string::npos);
    CHECK(one(by_hand("thickness", "", 1.6, 0.01)).why == "cannot be told: not seen face-on");
    CHECK(one(by_hand("bore", "H9", 3, 0.01)).why.find("no hole of that name or id") != std::string::npos);
    CHECK(one(by_hand("head", "", 5.5, 0.01)).why.find("no head was given to judge by") != std::string::npos);
}

TEST_CASE("a name goes before an id") {
    BoardRecord record = two_holes();
    record.holes[1].name = "H1";
    CHECK(hole_called(record, "H1") == &record.holes[1]);
    CHECK(hole_called(record, "H2") == &record.holes[1]);
    CHECK(hole_called(record, "") == nullptr);
}

TEST_CASE("holes take the case's words when its place lies in their bore") {
    InspectRequest request;
    request.case_holes = {said_px({159, 100}, "left"), said_px({461, 100}, "beside"), {}};
    request.case_holes[2].at_mm = Point{10, 2.5};
    request.case_holes[2].name = "right", request.case_holes[2].no_screw = true;
    request.screw = Screw{};
    HoleRecord left = hole_at("H1", {100, 100}), right = hole_at("H2", {400, 100});
    add_case_words(left, request);
    add_case_words(right, request);
    CHECK(left.name == "left");
    CHECK(left.screw_why == "the screw's reach was not judged");
    CHECK(screw_in(left, request) == &*request.screw);
    CHECK(right.name == "right");
    CHECK(right.screw_why == "the case says that no screw sits here");
    CHECK(screw_in(right, request) == nullptr);
    request.screw.reset();
    add_case_words(left, request);
    CHECK(left.screw_why == "no screw was given");
}

TEST_CASE("a hole of the case that is not in the picture, and a name that is another hole's id, are told") {
    InspectRequest request;
    request.case_holes = {said_px({400, 100}, "H1"), said_px({900, 900}, "lost")};
    BoardRecord record = two_holes();
    add_case_warnings(record, request);
    CHECK(warnings_of(record).find("hole \"lost\" of the case was not found") != std::string::npos);
    CHECK(warnings_of(record).find("hole \"H1\" of the case is H2 of the results") != std::string::npos);
    record.sources.front().warnings.clear();
    record.partial = true;
    add_case_warnings(record, request);
    CHECK(warnings_of(record).empty());
}

TEST_CASE(
    "the case's facts and its contradictions reach the record of a run, and what is private goes last") {
    InspectRequest request = fake_request();
    request.intake = {"SN 7", "L", {}, "returned"};
    request.custody.resize(1);
    request.case_holes = {said_px({60, 60}, "first")};
    request.measured = {by_hand("bore", "first", 9, 0.01)};
    request.geometry = PictureGeometry{200, std::nullopt, std::nullopt};
    request.rule.required_mm = 0.5;
    FakeStages fake;
    Session session = session_with(request, fake.stages());
    RecordingWatch watch;
    const BoardRecord record = record_of_outcome(inspect(session, watch));
    CHECK(record.holes[0].name == "first");
    CHECK(record.intake == request.intake);
    CHECK(record.rule == request.rule);
    CHECK(record.sources[0].geometry == request.geometry);
    CHECK(warnings_of(record).find("CONTRADICTION: bore of first") != std::string::npos);
    request.leave_out_private = true;
    Session again = session_with(request, fake.stages());
    const BoardRecord public_record = record_of_outcome(inspect(again, watch));
    CHECK(public_record.intake.serial.empty());
    CHECK(public_record.custody.empty());
    CHECK(public_record.sources[0].file == "made-up.tif");
    CHECK(public_record.left_out.size() == 4);
    request.measured[0].with = "pin gauge of N. N.";
    Session gauge = session_with(request, fake.stages());
    const BoardRecord unnamed = record_of_outcome(inspect(gauge, watch));
    CHECK(warnings_of(unnamed).find("CONTRADICTION: bore of first is 9.000 mm by hand and ") !=
          std::string::npos);
    CHECK(unnamed.left_out.back() == "measured.with");
}

TEST_CASE(
    "a case's screw: named, with sizes that go before the table's, per hole, and refused with its line") {
    const FileOnDisk whole(
        "case.toml", picture +
                         "[screw]\nname = \"M3\"\nmajor_mm = 2.95\ntilt_deg = 2\nengagement = \"free\"\n"
                         "[far_side]\noutline_mm = 6\n[[hole]]\nat_px = [1, 2]\nscrew = \"UNC6-32\"\n");
    InspectRequest request = request_of_case(whole.path());
    const Screw table = screw_named("M3");
    CHECK(request.screw->major_mm == 2.95);
    CHECK_FALSE(request.screw->major_max_mm.has_value()); // a measured screw has no class limits
    CHECK(request.screw->minor_mm == table.minor_mm);
    CHECK(request.screw->tilt_deg == 2);
    CHECK(*request.screw->far_side_mm == 6);
    REQUIRE(request.case_holes[0].screw.has_value());
    CHECK(request.case_holes[0].screw->major_mm == screw_named("UNC6-32").major_mm);
    CHECK(*request.case_holes[0].screw->far_side_mm == 6);
    use_screw(request, "UNC6-32");
    CHECK(request.screw->name == "UNC6-32");
    CHECK(request.screw->tilt_deg == 2);
    CHECK_FALSE(request.screw->engagement.has_value());
    const FileOnDisk unknown("case.toml", picture + "[screw]\nname = \"M3.14\"\n");
    CHECK(error_of(unknown, Fault::input).find("case.toml, line 4: key [screw] name: ") != std::string::npos);
    const FileOnDisk of_hole("case.toml", picture + "[[hole]]\nat_px = [1, 2]\nscrew = \"M3.14\"\n");
    CHECK(error_of(of_hole, Fault::input).find("case.toml, line 5: key [hole] screw: ") != std::string::npos);
    const FileOnDisk small("case.toml", picture + "[screw]\nname = \"M3\"\nhead_mm = 2\n");
    CHECK(error_of(small, Fault::input)
              .find("case.toml, line 5: key [screw] head_mm: expected a head_mm not "
                    "under the major diameter, 3 mm, got 2") != std::string::npos);
    const FileOnDisk thin("case.toml", picture + "[screw]\nname = \"M3\"\nmajor_mm = 1.5\n");
    CHECK(error_of(thin, Fault::input).find("case.toml, line 5: key [screw] major_mm: expected a minor_mm") !=
          std::string::npos);
}

TEST_CASE("log and decisions are read beside the case; the distances give the scale") {
    const FileOnDisk on_disk(
        "case.toml", picture + "[picture.geometry]\nsource_to_board_mm = 200\nsource_to_detector_mm = 800\n"
                               "detector_pixel_mm = 0.1\n[continuity]\nfile = \"meter.csv\"\n");
    CHECK(error_of(on_disk, Fault::input).ends_with("meter.csv: no such file"));
    std::ofstream(on_disk.folder() / "meter.csv") << "a,b,reading\nH1,P1,open\n";
    InspectRequest request = request_of_case(on_disk.path());
    REQUIRE(request.continuity.size() == 1);
    CHECK(request.geometry_scale->pixel_xy_mm[0] == doctest::Approx(0.025));
    CHECK(request.decisions.empty());
    Decision decision{Decision::Act::strike_out, {1, 2}, {}, 0, WallState::undecided, "me", "", "", true, ""};
    write_decisions(decisions_file_of(on_disk.path()), {&decision, 1});
    request = request_of_case(on_disk.path());
    CHECK(request.decisions == std::vector{decision});
}

TEST_CASE("a scale from stated distances is used, and disagrees aloud with a known length") {
    InspectRequest request = fake_request();
    request.pixel_mm.reset();
    request.geometry_scale = StatedScale{{0.02, 0.02}, "distances of source, board and detector"};
    FakeStages fake;
    RecordingWatch watch;
    Session session = session_with(request, fake.stages());
    const BoardRecord record = record_of_outcome(inspect(session, watch));
    CHECK(record.sources[0].pixel_mm.value() == 0.02);
    request.known = {{{0, 0}, {400, 0}, 10, {}}};
    Session disagrees = session_with(request, fake.stages());
    const InspectOutcome outcome = inspect(disagrees, watch);
    REQUIRE(std::holds_alternative<Error>(outcome));
    CHECK(std::get<Error>(outcome).fault() == Fault::input);
}

TEST_CASE("a length given outright beside row and volts: the warnings say what was not used") {
    const auto said = [](const SpacingRule& rule) {
        InspectRequest request;
        request.rule = rule;
        BoardRecord record = two_holes();
        add_case_warnings(record, request);
        return warnings_of(record);
    };
    CHECK(said({24, VoltageKind::dc, "B1", 0.4})
              .starts_with("the spacing asked for is required_mm, 0.4 mm: row B1 and 24 V were not used for "
                           "it; the voltage still counts"));
    CHECK(said({{}, VoltageKind::unknown, "B4", 0.4}).find("row B4 was not used for it") !=
          std::string::npos);
    CHECK(said({24, VoltageKind::dc, "", 0.4}).empty());
    CHECK(said({24, VoltageKind::dc, "B1", {}}).empty());
}

TEST_CASE("half a rule is refused in one line") {
    const auto said = [](const SpacingRule& rule) -> std::string {
        InspectRequest request;
        request.rule = rule;
        try {
            check_rule(request);
        } catch (const Error& error) {
            CHECK(error.fault() == Fault::usage);
            return error.what();
        }
        return "accepted";
    };
    CHECK(said({}) == "accepted");
    CHECK(said({24, VoltageKind::unknown, "B1", {}}) == "accepted");
    CHECK(said({24, VoltageKind::dc, "", 0.5}) == "accepted");
    CHECK(said({{}, VoltageKind::unknown, "", 0.5}) == "accepted");
    CHECK(said({24, VoltageKind::unknown, "", {}}).find("without a row") != std::string::npos);
    CHECK(said({{}, VoltageKind::unknown, "B1", {}})
              .find("row B1 of the spacing table is given without a voltage") == 0);
    CHECK(said({{}, VoltageKind::dc, "", 0.5}).find("kind is given without a voltage") != std::string::npos);
}

namespace {

/// H1 with a gap shown, H2 with copper too close.
BoardRecord judged_holes() {
    BoardRecord record = two_holes();
    for (HoleRecord& hole : record.holes) {
        ScrewFit fit;
        fit.finding = hole.id == "H1" ? Finding::gap_shown : Finding::too_close;
        fit.paths.push_back({"thread", "", {}, {}, 1.5, {}, {}, {}, fit.finding, ""});
        fit.alternatives.push_back({"another row", Estimate::of(0.3, 0.01), fit.finding});
        hole.keepout.state = KeepOutState::ring_seen;
        hole.screw = fit;
    }
    return record;
}

MeterAgreement meter_says(const std::string& hole, MeterAgreement::Says says) {
    MeterAgreement agreement;
    agreement.hole = hole;
    agreement.says = says;
    return agreement;
}

} // namespace

TEST_CASE("no gap is shown where the meter contradicts the picture; what else was found stands") {
    BoardRecord record = judged_holes();
    record.meter = {meter_says("H1", MeterAgreement::Says::contradicts),
                    meter_says("H2", MeterAgreement::Says::contradicts)};
    weigh_other_evidence(record);
    const ScrewFit& first = *record.holes[0].screw;
    CHECK(first.finding == Finding::undecided);
    CHECK(first.why == "A meter reading contradicts what the picture shows of this hole.");
    CHECK(first.forbids_gap.size() == 1);
    CHECK_FALSE(first.would_decide.empty());
    CHECK(first.paths[0].finding == Finding::undecided);
    CHECK(first.alternatives[0].finding == Finding::undecided);
    CHECK(record.holes[1].screw->finding == Finding::too_close);
}

TEST_CASE("where a hand measurement contradicts the picture, no finding that rests on lengths is made") {
    BoardRecord record = judged_holes();
    record.measured = beside_the_picture(
        record, std::vector{by_hand("bore", "H1", 3.9, 0.005), by_hand("bore", "H2", 3.9, 0.005)});
    weigh_other_evidence(record);
    CHECK(record.holes[0].screw->finding == Finding::undecided);
    CHECK(record.holes[1].screw->finding == Finding::undecided);
    // copper at the wall is no length: it stays
    BoardRecord touching = judged_holes();
    touching.holes[1].screw->finding = Finding::reaches;
    touching.holes[1].keepout.state = KeepOutState::touching;
    touching.measured = record.measured;
    weigh_other_evidence(touching);
    CHECK(touching.holes[1].screw->finding == Finding::reaches);
    // and what agrees takes nothing back
    BoardRecord agrees = judged_holes();
    agrees.measured = beside_the_picture(agrees, std::vector{by_hand("bore", "H1", 3.0, 0.005)});
    agrees.meter = {meter_says("H1", MeterAgreement::Says::agrees)};
    weigh_other_evidence(agrees);
    CHECK(agrees.holes[0].screw->finding == Finding::gap_shown);
}

TEST_CASE(
    "a screw that is larger by hand than the one judged: no gap is shown; a smaller one changes nothing") {
    BoardRecord record = judged_holes();
    record.screw = Screw{};
    record.screw->major_mm = 2.845;
    record.measured = beside_the_picture(
        record, std::vector{by_hand("screw_major", "", 3.2, 0.005), by_hand("head", "", 6, 0.01)});
    CHECK(record.measured[0].agrees == false);
    CHECK_FALSE(record.measured[0].picture_mm.has_value());
    CHECK_FALSE(record.measured[1].agrees.has_value()); // no head was judged
    CHECK(contradictions(record.measured).size() == 1);
    weigh_other_evidence(record);
    CHECK(record.holes[0].screw->finding == Finding::undecided);
    CHECK(record.holes[1].screw->finding == Finding::too_close);
    const HandMeasured without_u = by_hand("screw_major", "", 3.2, std::nullopt);
    const HandMeasured known = by_hand("screw_major", "H2", 3.2, 0.005);
    const auto beside = [&](const HandMeasured& said) {
        Screw own;
        own.major_mm = 3.3; // of H2
        return beside_the_picture(record, {&said, 1}, {},
                                  [&](const HoleRecord& hole) { return hole.id == "H2" ? &own : nullptr; })
            .front();
    };
    CHECK_FALSE(beside(without_u).agrees.has_value());
    CHECK(beside(without_u).why.find("2.845 mm") != std::string::npos);
    CHECK(beside(known).agrees == true); // beside its own screw, not the case's
    BoardRecord smaller = judged_holes();
    smaller.screw = record.screw;
    smaller.measured = beside_the_picture(smaller, std::vector{by_hand("screw_major", "", 2.8, 0.005)});
    CHECK(smaller.measured[0].agrees == true);
    weigh_other_evidence(smaller);
    CHECK(smaller.holes[0].screw->finding == Finding::gap_shown);
}

TEST_CASE(
    "contact that the meter proves is set beside the picture's contact margins, not beside its finding") {
    const auto says = [](double contact_margin_mm, Finding finding, std::optional<Engagement> engagement) {
        BoardRecord record = judged_holes();
        HoleRecord& hole = record.holes[0];
        hole.keepout.state = KeepOutState::ring_seen;
        hole.wall.state = WallState::bare;
        hole.screw->finding = finding;
        hole.screw->engagement = engagement;
        hole.screw->required_mm = 0.6;
        MetalPath thread;
        thread.part = "thread";
        thread.cutting_margin_mm = Estimate::of(-0.5, 0.01); // 0.1 mm to contact
        thread.contact_margin_mm = Estimate::of(contact_margin_mm, 0.02);
        hole.screw->paths = {thread};
        ContinuityReading joined;
        joined.line = 2;
        joined.a = "screw in H1";
        joined.b = "+24V";
        joined.reading = Joint::joined;
        joined.ohms = 0.3;
        joined.setup = "bare board, screw fitted";
        record.continuity = {joined};
        add_meter(record);
        REQUIRE(record.meter.size() == 1);
        CHECK(record.meter[0].contact_proven);
        return record.meter[0].says;
    };
    using Says = MeterAgreement::Says;
    CHECK(says(0.23, Finding::too_close, Engagement::free) == Says::contradicts);
    CHECK(says(0.23, Finding::undecided, Engagement::cuts) == Says::contradicts);
    CHECK(says(0.03, Finding::too_close, Engagement::free) == Says::proves_nothing); // within U of contact
    CHECK(says(-0.3, Finding::reaches, Engagement::free) == Says::agrees);
}

TEST_CASE("a hole of the case that the picture does not show is named as not judged") {
    BoardRecord record = two_holes();
    InspectRequest request;
    request.case_holes = {said_px({100, 100}, "lid"), said_px({900, 900}, "corner")};
    add_case_warnings(record, request);
    CHECK(record.holes_not_found == std::vector<std::string>{"\"corner\""});
    CHECK(warnings_of(record).find("hole \"corner\" of the case was not found") != std::string::npos);
}

TEST_CASE("half a rule of a case is a fault of the file, with its line; what an option gives is not") {
    const auto said = [](const std::string& rule, Fault fault, bool row_by_option = false) -> std::string {
        const FileOnDisk on_disk("case.toml", picture + "[rule]\n" + rule);
        InspectRequest request = request_of_case(on_disk.path());
        if (row_by_option) request.rule.row = "B1", request.case_words.row_place.clear();
        try {
            check_rule(request);
        } catch (const Error& error) {
            CHECK(error.fault() == fault);
            const std::string line = error.what();
            return line.substr(line.find("case.toml") == std::string::npos ? 0 : line.find("case.toml"));
        }
        return "accepted";
    };
    CHECK(said("voltage_peek_v = 24\nvoltage_kind = \"dc\"\nspacing_row = \"B1\"\n", Fault::input) ==
          "case.toml, line 5: key [rule] voltage_kind: expected voltage_peak_v beside it, got nothing; "
          "unknown key [rule] voltage_peek_v in line 4");
    CHECK(said("voltage_peak_v = 24\n", Fault::input)
              .starts_with("case.toml, line 4: key [rule] voltage_peak_v: expected spacing_row (B1, B2, B3, "
                           "B4, A5, A6 or A7) beside it, got nothing; the row is your choice"));
    CHECK(said("spacing_row = \"B1\"\n", Fault::input)
              .starts_with("case.toml, line 4: key [rule] spacing_row: expected voltage_peak_v"));
    CHECK(said("", Fault::usage, true).starts_with("row B1 of the spacing table is given without"));
}

TEST_CASE("a case's unknown keys end every error of its run") {
    const FileOnDisk screw("case.toml", picture + "pixle_mm = 1\n[screw]\nname = \"M3.14\"\n");
    CHECK(error_of(screw, Fault::input).ends_with("; unknown key [picture] pixle_mm in line 3"));
    const FileOnDisk gone("case.toml", picture + "pixle_mm = 1\n");
    InspectWatch watch;
    const InspectOutcome outcome = inspect(request_of_case(gone.path()), watch);
    REQUIRE(std::holds_alternative<Error>(outcome));
    CHECK(
        std::string(std::get<Error>(outcome).what()).ends_with("; unknown key [picture] pixle_mm in line 3"));
}
