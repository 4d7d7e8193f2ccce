// SPDX-License-Identifier: Apache-2.0
#include "inspection/fake_stages.hpp"

#include <algorithm>
#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

BoardRecord full_run(const InspectRequest& request) {
    FakeStages fake;
    Session session = session_with(request, fake.stages());
    RecordingWatch watch;
    return record_of_outcome(inspect(session, watch));
}

Decision decision(Decision::Act act, Point at_px, double value = 0, WallState wall = WallState::undecided) {
    return {act, at_px, {}, value, wall, "tester", "2026-01-01", "because", false, ""};
}

/// Decisions of every kind, one after the other; the last run has all of them.
std::vector<std::vector<Decision>> growing_decisions() {
    const std::vector<Decision> all{decision(Decision::Act::add_hole, {110, 110}, 12),
                                    decision(Decision::Act::strike_out, {260, 160}),
                                    decision(Decision::Act::set_wall, {60, 60}, 0, WallState::incomplete),
                                    decision(Decision::Act::set_scale, {0, 0}, 10),
                                    decision(Decision::Act::add_hole, {610, 410}, 9),
                                    decision(Decision::Act::strike_out, {110, 110})};
    std::vector<std::vector<Decision>> growing(1);
    for (const auto& one : all) {
        growing.push_back(growing.back());
        growing.back().push_back(one);
    }
    for (auto& list : growing) {
        for (auto& one : list) {
            if (one.act == Decision::Act::set_scale) one.to_px = {500, 0};
        }
    }
    return growing;
}

std::string bytes_of(const BoardRecord& record) {
    return to_json(record, ".");
}

} // namespace

TEST_CASE("holes come in reading order with ids, whatever order they were found in") {
    const BoardRecord record = full_run(fake_request());
    REQUIRE(record.holes.size() == 24);
    for (std::size_t i = 0; i < record.holes.size(); ++i) {
        CHECK(record.holes[i].id == "H" + std::to_string(i + 1));
        CHECK(record.holes[i].x_px == doctest::Approx(60 + 100 * static_cast<double>(i % 6)).epsilon(0.01));
    }
    CHECK(record.why_nothing.empty());
}

TEST_CASE("a rerun with decisions equals a full run with the same decisions, to the bit, and undo too") {
    FakeStages fake;
    Session session = session_with(fake_request(), fake.stages());
    RecordingWatch watch;
    const auto growing = growing_decisions();
    std::vector<std::vector<Decision>> walk = growing;
    walk.insert(walk.end(), growing.rbegin(), growing.rend()); // and back
    for (const auto& decisions : walk) {
        InspectRequest request = fake_request();
        request.decisions = decisions;
        CHECK(bytes_of(record_of_outcome(remeasure(session, decisions, watch))) ==
              bytes_of(full_run(request)));
    }
    CHECK(fake.loads == 1);
    CHECK(fake.exposures == 1);
}

TEST_CASE("a rerun measures only the holes that the decision touches") {
    FakeStages fake;
    Session session = session_with(fake_request(), fake.stages());
    RecordingWatch watch;
    (void)inspect(session, watch);
    REQUIRE(fake.fits == 24);
    REQUIRE(fake.rings == 24);
    const auto rerun = [&](const std::vector<Decision>& decisions) {
        fake.fits = fake.rings = 0;
        return record_of_outcome(remeasure(session, decisions, watch));
    };
    // Within 120 px plus a radius of (260, 160): the eight holes of a 100 px grid; the diagonal ones at 141
    // px lie within too.
    (void)rerun({decision(Decision::Act::strike_out, {260, 160})});
    CHECK(fake.fits == 0);
    CHECK(fake.rings == 8);
    (void)rerun({});
    CHECK(fake.rings == 0); // undo: all is still there
    (void)rerun({decision(Decision::Act::set_wall, {60, 60}, 0, WallState::incomplete)});
    CHECK(fake.fits == 0);
    CHECK(fake.rings <= 4); // the hole and those that see its wall
    Decision scale = decision(Decision::Act::set_scale, {0, 0}, 15);
    scale.to_px = {500, 0};
    const BoardRecord record = rerun({scale});
    CHECK(fake.fits == 0);
    CHECK(fake.rings == 0); // geometry only
    CHECK(record.holes[0].bore_mm.value() == doctest::Approx(record.holes[0].bore_px.value() * 0.03));
    (void)rerun({decision(Decision::Act::add_hole, {310, 215}, 8)});
    CHECK(fake.fits == 1);
    CHECK(fake.rings < 10);
}

TEST_CASE("ids stay: a struck-out hole leaves a gap, an added one takes the next number") {
    InspectRequest request = fake_request();
    request.decisions = {decision(Decision::Act::strike_out, {160, 60}),
                         decision(Decision::Act::add_hole, {110, 110}, 10)};
    const BoardRecord record = full_run(request);
    REQUIRE(record.holes.size() == 24);
    CHECK(record.holes[1].id == "H3");
    CHECK(record.holes.back().id == "H25");
    CHECK(record.holes.back().added_by_person);
    CHECK(record.decisions.size() == 2);
}

TEST_CASE("a decision that meets nothing changes nothing and is told") {
    InspectRequest request = fake_request();
    request.decisions = {decision(Decision::Act::strike_out, {110, 110}),
                         decision(Decision::Act::add_hole, {60, 62}, 10)};
    const BoardRecord record = full_run(request);
    CHECK(record.holes.size() == 24);
    const auto& warnings = record.sources[0].warnings;
    CHECK(std::count_if(warnings.begin(), warnings.end(), [](const std::string& w) {
              return w.find("was left out") != std::string::npos;
          }) == 2);
}

namespace {

/// As a board whose holes take a screw that runs free in them.
InspectRequest with_screw(InspectRequest request) {
    Screw screw;
    screw.name = "test";
    screw.major_mm = 0.9, screw.minor_mm = 0.7;
    request.screw = screw;
    request.rule.required_mm = 0.05;
    request.thinnest_foil_um = 0;
    return request;
}

std::vector<std::string> alternatives_with(const HoleRecord& hole, const std::string& words) {
    std::vector<std::string> found;
    for (const auto& other : hole.screw.value().alternatives)
        if (other.what.find(words) != std::string::npos) found.push_back(other.what);
    return found;
}

bool any_with(const std::vector<std::string>& texts, const std::string& words) {
    return std::any_of(texts.begin(), texts.end(),
                       [&](const std::string& text) { return text.find(words) != std::string::npos; });
}

} // namespace

TEST_CASE("the finding without each decision stands beside it") {
    InspectRequest request = with_screw(fake_request());
    const BoardRecord untouched = full_run(request);
    Decision wall = decision(Decision::Act::set_wall, {60, 60}, 0, WallState::bare);
    wall.after_result = true;
    request.decisions = {wall, decision(Decision::Act::add_hole, {110, 110}, 23),
                         decision(Decision::Act::strike_out, {560, 360})};
    const BoardRecord record = full_run(request);
    const HoleRecord& walled = record.holes.front();
    REQUIRE(walled.id == "H1");
    CHECK(alternatives_with(walled, "wall state set to bare\" at (60.0, 60.0) px, made after the first")
              .size() == 1);
    const auto& beside = walled.screw.value().alternatives;
    const auto other = std::find_if(beside.begin(), beside.end(), [](const Alternative& a) {
        return a.what.find("wall state set") != std::string::npos;
    });
    REQUIRE(other != beside.end());
    // The hole added near by changes the ring of H1 in both runs: only the wall differs from what is shown.
    CHECK(other->margin_mm != walled.screw->margin_mm);
    const HoleRecord& added = record.holes.back();
    REQUIRE(added.id == "H25");
    REQUIRE(added.screw_why == "");
    CHECK(alternatives_with(added, "hole added").size() == 1);
    CHECK(added.screw.value().alternatives.back().margin_mm.why() == "the hole would not be there");
    CHECK(alternatives_with(record.holes[20], "decision").empty()); // (260, 360): far from all of them
    CHECK(any_with(record.sources.front().warnings,
                   "hole struck out\" at (560.0, 360.0) px, a screw would be "
                   "judged in H24: "));
    CHECK(untouched.sources.front().warnings.size() + 1 == record.sources.front().warnings.size());
}

TEST_CASE("a decision made on other pixels is shown and not followed; on these it is") {
    InspectRequest request = fake_request();
    Decision wall = decision(Decision::Act::set_wall, {60, 60}, 0, WallState::incomplete);
    wall.picture_sha256 = "00112233445566778899"; // what the fake picture has
    request.decisions = {wall};
    CHECK(full_run(request).holes.front().wall.state == WallState::incomplete);
    request.decisions.front().picture_sha256 = "99";
    const BoardRecord record = full_run(request);
    CHECK(record.holes.front().wall.state != WallState::incomplete);
    CHECK(record.decisions == request.decisions);
    CHECK(
        any_with(record.sources.front().warnings, "was left out: it was made on a picture with SHA-256 99"));
}

TEST_CASE("a known distance with a point outside the picture is refused, by option and by case") {
    InspectRequest request = fake_request(); // 700 x 500 px
    request.pixel_mm.reset();
    request.known = {{{10, 10}, {6900, 10}, 17.0, {}}}; // a slipped digit: 690
    FakeStages fake;
    Session session = session_with(request, fake.stages());
    RecordingWatch watch;
    const InspectOutcome refused = inspect(session, watch);
    REQUIRE(std::holds_alternative<Error>(refused));
    CHECK(std::get<Error>(refused).fault() == Fault::usage);
    CHECK(std::string(std::get<Error>(refused).what()) ==
          "made-up.tif: known distance: expected points inside the picture of 700 x 500 px, got (6900, 10)");
    request.scale_given = InspectRequest::ScaleGiven::in_case;
    Session of_case = session_with(request, fake.stages());
    const InspectOutcome of_case_refused = inspect(of_case, watch);
    REQUIRE(std::holds_alternative<Error>(of_case_refused));
    CHECK(std::get<Error>(of_case_refused).fault() == Fault::input);
    request.known = {{{0, 0}, {699, 499}, 17.0, {}}}; // the corners are inside
    CHECK(full_run(request).why_nothing.empty());
}

TEST_CASE("a hole of known bore sets the scale, and is not its own check") {
    InspectRequest request = fake_request();
    request.pixel_mm.reset();
    request.scale_given = InspectRequest::ScaleGiven::in_case;
    request.case_holes = {{Point{60, 60}, {}, "gauge", "", "", false, {}}};
    request.scale_holes = {{{62, 58}, "gauge", 1.0, 0.001}};
    request.measured = {{"bore", "gauge", 1.0, 0.001, "pin gauge", {}, {}, {}, ""},
                        {"bore", "H3", 1.0, 0.001, "pin gauge", {}, {}, {}, ""}};
    const BoardRecord record = full_run(request);
    CHECK(record.holes[0].bore_mm.value() == doctest::Approx(1.0));
    CHECK(record.sources[0].pixel_mm_from.find("one hole of known bore stated in the case file") == 0);
    CHECK(record.measured[0].why.find("cannot check it") != std::string::npos);
    CHECK(record.measured[1].picture_mm.has_value());
    request.pixel_mm = {0.025, 0.025}; // goes before: now the bore checks the picture
    CHECK(full_run(request).measured[0].picture_mm.has_value());
    request.pixel_mm.reset();
    request.scale_holes[0].at_px = {350, 30}; // no hole there
    const BoardRecord none = full_run(request);
    CHECK(none.why_nothing ==
          "no scale: the bore of hole \"gauge\", which is to set the scale, was not measured");
}

TEST_CASE("a picture that has changed since the case was written is refused") {
    InspectRequest request = fake_request();
    request.picture_sha256 = "00112233445566778899";
    CHECK(full_run(request).why_nothing.empty());
    request.picture_sha256 = "ab";
    CHECK_THROWS_WITH_AS((void)full_run(request),
                         "made-up.tif: the file has changed since the case was written: expected SHA-256 ab, "
                         "got 00112233445566778899",
                         Error);
}

TEST_CASE("the same bytes on any number of threads") {
    const std::string one = bytes_of(full_run(fake_request()));
    for (const int jobs : {2, 3, 8, 0}) {
        InspectRequest request = fake_request();
        request.jobs = jobs;
        CHECK(bytes_of(full_run(request)) == one);
    }
}

TEST_CASE("the watch is asked every 20 ms, told every hole once, and never by two threads at a time") {
    FakeStages fake;
    fake.per_hole = std::chrono::milliseconds(8);
    fake.per_stage = std::chrono::milliseconds(120); // a stage that never asks
    InspectRequest request = fake_request();
    request.jobs = 2;
    Session session = session_with(request, fake.stages());
    RecordingWatch watch;
    const BoardRecord record = record_of_outcome(inspect(session, watch));
    CHECK_FALSE(watch.overlapped);
    REQUIRE(watch.holes.size() == record.holes.size());
    for (const auto& hole : watch.holes) {
        CHECK(std::count(record.holes.begin(), record.holes.end(), hole) == 1);
    }
    std::vector<double> pauses_ms;
    for (std::size_t i = 1; i < watch.asked.size(); ++i) {
        pauses_ms.push_back(
            std::chrono::duration<double, std::milli>(watch.asked[i] - watch.asked[i - 1]).count());
    }
    std::sort(pauses_ms.begin(), pauses_ms.end());
    REQUIRE(pauses_ms.size() > 30);
    CHECK(pauses_ms[pauses_ms.size() * 9 / 10] < 20); // nine of ten: a loaded machine may let one pass
    CHECK(watch.stages.front() == "reading");
}

TEST_CASE("cancelled: an outcome of its own, finished holes stay valid, and the session goes on from there") {
    FakeStages fake;
    fake.per_hole = std::chrono::milliseconds(15);
    Session session = session_with(fake_request(), fake.stages());
    RecordingWatch watch;
    watch.stop_after_holes = 5;
    const InspectOutcome outcome = inspect(session, watch);
    REQUIRE(std::holds_alternative<CancelledOutcome>(outcome));
    const BoardRecord& partial = std::get<CancelledOutcome>(outcome).partial;
    CHECK(partial.partial);
    CHECK(partial.holes.size() >= 5);
    CHECK(partial.holes.size() < 24);
    const BoardRecord whole = full_run(fake_request());
    for (const auto& hole : partial.holes)
        CHECK(std::count(whole.holes.begin(), whole.holes.end(), hole) == 1);
    RecordingWatch calm;
    fake.rings = 0;
    CHECK(bytes_of(record_of_outcome(inspect(session, calm))) == bytes_of(whole));
    CHECK(fake.rings == 24 - static_cast<int>(partial.holes.size()));
}

TEST_CASE("cancelled before the first stage") {
    FakeStages fake;
    Session session = session_with(fake_request(), fake.stages());
    RecordingWatch watch;
    watch.stop_after_holes = 0;
    const InspectOutcome outcome = inspect(session, watch);
    REQUIRE(std::holds_alternative<CancelledOutcome>(outcome));
    CHECK(std::get<CancelledOutcome>(outcome).partial.holes.empty());
}

TEST_CASE("over the memory limit the pixels are dropped and made again, with the same result") {
    FakeStages fake;
    InspectRequest request = fake_request();
    request.memory_bytes = 1000;
    Session session = session_with(request, fake.stages());
    RecordingWatch watch;
    const std::string first = bytes_of(record_of_outcome(inspect(session, watch)));
    CHECK_FALSE(session.products().map);
    CHECK(bytes_of(record_of_outcome(remeasure(session, {}, watch))) == first);
    CHECK(fake.loads == 2);
    fake.file_changes = true;
    const InspectOutcome outcome = inspect(session, watch);
    REQUIRE(std::holds_alternative<Error>(outcome));
    CHECK(std::get<Error>(outcome).fault() == Fault::input);
}

TEST_CASE("read well but not measurable: a record that says why") {
    FakeStages fake;
    InspectRequest in_a_folder = fake_request();
    in_a_folder.pictures = {"/secret place/made-up.tif"};
    fake.exposure_fails =
        Error(Fault::nothing_measured, "/secret place/made-up.tif: all pixels have one value");
    Session session = session_with(in_a_folder, fake.stages());
    RecordingWatch watch;
    const BoardRecord record = record_of_outcome(inspect(session, watch));
    CHECK(record.why_nothing == "made-up.tif: all pixels have one value");
    CHECK(record.holes.empty());
    CHECK(record.sources.at(0).sha256.size() == 20);
    CHECK(from_json(bytes_of(record)).why_nothing == record.why_nothing);

    FakeStages empty;
    empty.rows = 0;
    Session no_hole = session_with(fake_request(), empty.stages());
    CHECK(record_of_outcome(inspect(no_hole, watch)).why_nothing == "no hole was found in this picture");

    InspectRequest request = fake_request();
    request.pixel_mm.reset();
    const BoardRecord no_scale = full_run(request);
    CHECK(no_scale.why_nothing.find("no scale") == 0);
    CHECK(no_scale.holes.size() == 24);
    CHECK(no_scale.holes[0].bore_px.has_value());
    CHECK_FALSE(no_scale.holes[0].bore_mm.has_value());
    CHECK_FALSE(no_scale.holes[0].screw);
}

TEST_CASE("without a scale a screw's findings are undecided, in the results and in the table of holes") {
    InspectRequest request = fake_request();
    request.pixel_mm.reset();
    request.screw = screw_named("M3");
    request.rule.required_mm = 0.4;
    const BoardRecord record = full_run(request);
    for (const HoleRecord& hole : record.holes) {
        CHECK(hole.screw.has_value() == (hole.kind == HoleKind::hole));
        if (!hole.screw) continue;
        CHECK(hole.screw->name == "M3");
        CHECK(hole.screw->finding == Finding::undecided);
        CHECK(hole.screw->why == record.why_nothing);
        CHECK(hole.screw->margin_mm.why() == record.why_nothing);
    }
    CHECK(from_json(bytes_of(record)).holes == record.holes);
    CHECK(bytes_of(record).find("\"resting_reach_mm\": null") != std::string::npos);
    CHECK(to_csv(record).find(",M3,undecided,no scale: ") != std::string::npos);
}

TEST_CASE("errors come out as an outcome, not as an exception") {
    FakeStages fake;
    fake.exposure_fails = Error(Fault::input, "flat.tif: another size");
    Session session = session_with(fake_request(), fake.stages());
    RecordingWatch watch;
    const InspectOutcome outcome = inspect(session, watch);
    REQUIRE(std::holds_alternative<Error>(outcome));
    CHECK(std::string(std::get<Error>(outcome).what()) == "flat.tif: another size");
    InspectRequest request = fake_request();
    request.pictures.clear();
    FakeStages other;
    Session none = session_with(request, other.stages());
    CHECK(std::get<Error>(inspect(none, watch)).fault() == Fault::usage);
}

TEST_CASE("a plated hole under 0.8 mm is a via; without a scale small against the widest") {
    FakeStages fake;
    InspectRequest request = fake_request();
    request.pixel_mm = {0.019, 0.019}; // radii 20..24 px: bores 0.766 to 0.918 mm
    Session session = session_with(request, fake.stages());
    RecordingWatch watch;
    for (const auto& hole : record_of_outcome(inspect(session, watch)).holes) {
        const bool via = hole.wall.state == WallState::plated && hole.bore_mm.value() < 0.8;
        CHECK((hole.kind == HoleKind::via) == via);
    }
}
