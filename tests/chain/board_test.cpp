// SPDX-License-Identifier: Apache-2.0
// From picture to answers: drawn boards through the inspection entry, against their exact truth.
#include "files/scratch.hpp"

#include "ringwall/inspection.hpp"
#include "ringwall/phantom.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::phantom;
using ringwall::test::bytes_of;
using ringwall::test::Scratch;

namespace {

Drill drill(Point centre_mm, double drill_mm, double plating_um) {
    Drill one;
    one.centre_mm = centre_mm, one.drill_mm = drill_mm, one.plating_um = plating_um;
    return one;
}

/// 260 x 200 px: a bare hole in a copper-free ring, a bare one that cuts copper, a plated one, a via.
Board small_board() {
    Board board;
    board.width_mm = 6.5, board.height_mm = 5.0;
    board.outline.corners_mm = {{0.4, 0.4}, {6.1, 0.4}, {6.1, 4.6}, {0.4, 4.6}};
    CopperLayer plane;
    plane.poured = true;
    plane.strokes = {{Circle{{1.8, 1.7}, 0.95}, false},
                     {Circle{{4.6, 1.7}, 0.95}, false},
                     {Circle{{4.6, 1.7}, 0.80}, true}};
    board.layers = {plane};
    board.drills = {drill({1.8, 1.7}, 1.0, 0), drill({4.6, 1.7}, 1.0, 30), drill({1.8, 3.6}, 1.0, 0),
                    drill({4.6, 3.7}, 0.4, 25)};
    return board;
}

Exposure small_exposure() {
    Exposure exposure;
    exposure.beam = tube_beam(90, 1.0);
    exposure.photons = 8000;
    exposure.seed = 11;
    return exposure;
}

InspectRequest request_for(const std::filesystem::path& picture, const Exposure& exposure, int jobs) {
    InspectRequest request;
    request.pictures = {picture};
    request.pixel_mm = {exposure.pixel_mm, exposure.pixel_mm};
    request.jobs = jobs;
    return request;
}

BoardRecord record_of(InspectOutcome outcome) {
    if (const Error* error = std::get_if<Error>(&outcome)) FAIL(error->what());
    REQUIRE(std::holds_alternative<BoardRecord>(outcome));
    return std::get<BoardRecord>(std::move(outcome));
}

/// The record's hole within half a bore of the drill; nothing found fails the test.
const HoleRecord& hole_at(const BoardRecord& record, const HoleTruth& truth, double pixel_mm) {
    const HoleRecord* found = nullptr;
    for (const HoleRecord& hole : record.holes)
        if (std::hypot(hole.x_px - truth.centre_mm.x / pixel_mm, hole.y_px - truth.centre_mm.y / pixel_mm) <
            truth.bore_mm / pixel_mm / 2)
            found = &hole;
    REQUIRE_MESSAGE(found != nullptr, "no hole at ", truth.centre_mm.x, ", ", truth.centre_mm.y, " mm");
    return *found;
}

/// The picture of the small board, as a file.
struct Taken {
    Scratch scratch;
    Board board = small_board();
    Exposure exposure = small_exposure();
    std::filesystem::path picture = scratch / "board.tif";
    Taken() {
        const Image<std::uint16_t> grey = expose(board, exposure);
        write_tiff16(picture, grey.view(), exposure.pixel_mm);
    }
};

const std::array answers{"results.json", "holes.csv", "overlay.png", "report.html"};

} // namespace

TEST_CASE("small board: every hole found, wall, bore and keep-out right") {
    const Taken taken;
    InspectWatch watch;
    const BoardRecord record = record_of(inspect(request_for(taken.picture, taken.exposure, 1), watch));
    const std::vector<HoleTruth> exact = truth(taken.board);
    CHECK(record.holes.size() == exact.size()); // none invented
    for (const HoleTruth& t : exact) {
        CAPTURE(t.centre_mm.x);
        CAPTURE(t.centre_mm.y);
        const HoleRecord& hole = hole_at(record, t, taken.exposure.pixel_mm);
        const bool bare = t.plating_um == 0;
        CHECK(hole.wall.state == (bare ? WallState::bare : WallState::plated));
        REQUIRE(hole.bore_px.has_value());
        // RMS targets 0.05 px bare, 0.08 px plated; one draw may lie at three times that.
        CHECK(std::abs(hole.bore_px.value() - t.bore_mm / taken.exposure.pixel_mm) <
              3 * (bare ? 0.05 : 0.08));
    }
    const HoleRecord& ringed = hole_at(record, exact[0], taken.exposure.pixel_mm);
    CHECK(ringed.keepout.state == KeepOutState::ring_seen);
    REQUIRE(ringed.keepout.min_px.has_value());
    // RMS target 0.06 px, the same three times.
    CHECK(std::abs(ringed.keepout.min_px.value() - exact[0].keepout_mm / taken.exposure.pixel_mm) < 0.18);
    CHECK(exact[2].touching);
    CHECK(hole_at(record, exact[2], taken.exposure.pixel_mm).keepout.state == KeepOutState::touching);
}

namespace {

const HoleRecord& hole_named(const BoardRecord& record, const std::string& name) {
    const auto named = std::find_if(record.holes.begin(), record.holes.end(),
                                    [&](const HoleRecord& hole) { return hole.name == name; });
    REQUIRE_MESSAGE(named != record.holes.end(), name);
    return *named;
}

} // namespace

TEST_CASE("the demo case from file to finding: what the README tells of it") {
    const Scratch scratch;
    write_demo(scratch / "demo");
    const std::array names{"top left", "top right", "bottom left"};
    struct Expected {
        char revision;
        std::array<KeepOutState, 3> state;
        std::array<Finding, 3> finding;
    };
    const auto ring = KeepOutState::ring_seen;
    for (const Expected& expected :
         {Expected{'A',
                   {KeepOutState::touching, ring, ring},
                   {Finding::reaches, Finding::undecided, Finding::gap_shown}},
          Expected{'B',
                   {ring, ring, KeepOutState::runs_on},
                   {Finding::gap_shown, Finding::gap_shown, Finding::undecided}}}) {
        const char small = expected.revision == 'A' ? 'a' : 'b';
        InspectWatch watch;
        const BoardRecord record = record_of(inspect(
            request_of_case(scratch / "demo" / (std::string("revision-") + small) / "case.toml"), watch));
        const Board board = demo_board(expected.revision);
        const auto lid = demo_lid_holes(board);
        const std::vector<HoleTruth> drawn = truth(board);
        for (std::size_t i = 0; i < names.size(); ++i) {
            const HoleRecord& hole = hole_named(record, names[i]);
            CAPTURE(expected.revision);
            CAPTURE(names[i]);
            CHECK(hole.keepout.state == expected.state[i]);
            CHECK(hole.screw.value().finding == expected.finding[i]);
            if (expected.state[i] != ring) continue;
            const Estimate& gap = hole.keepout.min_mm;
            CHECK(std::abs(gap.value() - drawn[lid[i]].keepout_mm) < 4 * gap.u() + 0.002);
        }
    }
}

TEST_CASE("the same files, byte for byte, with one job and with two") {
    const Taken taken;
    InspectWatch watch;
    for (const int jobs : {1, 2}) {
        Session session(request_for(taken.picture, taken.exposure, jobs));
        write_results(record_of(inspect(session, watch)), session,
                      taken.scratch / ("jobs" + std::to_string(jobs)));
    }
    for (const char* name : answers) {
        CAPTURE(name);
        const auto one = bytes_of(taken.scratch / "jobs1" / name);
        CHECK(one.size() > 100);
        CHECK(one == bytes_of(taken.scratch / "jobs2" / name));
    }
}

TEST_CASE("a decision on one hole, measured again, equals a full run; undone, the first measurement") {
    const Taken taken;
    InspectWatch watch;
    InspectRequest request = request_for(taken.picture, taken.exposure, 2);
    Session session(request);
    const std::string first = to_json(record_of(inspect(session, watch)), ".");
    Decision struck;
    struck.act = Decision::Act::strike_out;
    struck.at_px = {1.8 / taken.exposure.pixel_mm, 1.7 / taken.exposure.pixel_mm};
    struck.who = "tester", struck.when = "2026-01-01", struck.why = "because";
    const std::string again = to_json(record_of(remeasure(session, {struck}, watch)), ".");
    request.decisions = {struck};
    CHECK(again == to_json(record_of(inspect(request, watch)), "."));
    CHECK(again != first);
    CHECK(to_json(record_of(remeasure(session, {}, watch)), ".") == first);
}
