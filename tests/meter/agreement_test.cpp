// SPDX-License-Identifier: Apache-2.0
#include "meter/agreement.hpp"

#include <doctest/doctest.h>
#include <optional>
#include <string>
#include <vector>

using namespace ringwall;

// The rules are common practice, no source, but for the ohms: continuity up to 10 ohm, isolation from 10
// Mohm, IPC-9252 (restated by two public pages on electrical test).

namespace {

using Says = MeterAgreement::Says;
constexpr auto open = Joint::open;
constexpr auto joined = Joint::joined;

bool has(const std::string& text, const std::string& part) {
    return text.find(part) != std::string::npos;
}

/// H1 bare with a ring seen, H2 plated and running on into a plane, H3 bare and touching, H4 plated with a
/// ring, H5 undecided, H6 a via, H7 filled in the picture.
std::vector<MeterHole> holes() {
    return {
        {"H1", "lid left", HoleKind::hole, WallState::bare, KeepOutState::ring_seen, ContactSeen::apart},
        {"H2", "Erdung öl", HoleKind::hole, WallState::plated, KeepOutState::runs_on, {}},
        {"H3", "spare", HoleKind::hole, WallState::bare, KeepOutState::touching, ContactSeen::touching},
        {"H4", "spare", HoleKind::hole, WallState::plated, KeepOutState::ring_seen, {}},
        {"H5", "", HoleKind::hole, WallState::undecided, KeepOutState::undecided, {}},
        {"H6", "", HoleKind::via, WallState::plated, KeepOutState::undecided, {}},
        {"H7", "", HoleKind::filled, WallState::bare, KeepOutState::ring_seen, {}},
    };
}

constexpr const char* bare = "bare board, screw none";
constexpr const char* assembled = "assembled unpowered, screw none; cables, chassis and battery disconnected";
constexpr const char* with_screw =
    "assembled unpowered, screw fitted 0.5 Nm pushed toward H2; cables, chassis and battery disconnected";

struct Row {
    const char* a;
    const char* b;
    Joint reading = Joint::open;
    const char* setup = "";
    std::optional<double> ohms = {};
    ReadingBehaviour behaviour = ReadingBehaviour::unknown;
    std::optional<Joint> expect = {};
    const char* polarity = "";
    const char* note = "";
};

ContinuityReading reading(const Row& row, int line) {
    ContinuityReading result;
    result.line = line;
    result.a = row.a;
    result.b = row.b;
    result.reading = row.reading;
    result.setup = row.setup;
    result.ohms = row.ohms;
    result.behaviour = row.behaviour;
    result.expect = row.expect;
    result.polarity = row.polarity;
    result.note = row.note;
    return result;
}

MeterResult judged(const std::vector<Row>& rows) {
    std::vector<ContinuityReading> readings;
    for (const Row& row : rows)
        readings.push_back(reading(row, static_cast<int>(readings.size()) + 2)); // line 1 is the header
    return meter_against_pictures(readings, holes());
}

std::string board_words(const MeterResult& result) {
    std::string words;
    for (const std::string& sentence : result.board)
        words += sentence + "\n";
    return words;
}

struct Scenario {
    Row row;
    const char* hole;
    Says says;
    bool contact_proven;
    const char* words; ///< that the sentence must hold
};

} // namespace

TEST_CASE("one reading at one hole") {
    const auto rising = ReadingBehaviour::rising;
    const std::vector<Scenario> scenarios{
        // plated and empty
        {{"H4", "J1 +24V", open, assembled}, "H4", Says::agrees, false, "must be"},
        {{"+24V", "H4", joined, assembled, 0.4},
         "H4",
         Says::contradicts,
         false,
         "must be open to a plated hole"},
        {{"VCC", "H4", joined, bare, 300}, "H4", Says::contradicts, false, "must be open"},
        {{"VCC", "H4", joined, assembled, 300}, "H4", Says::proves_nothing, false, "over the 10 Ω"},
        {{"VCC", "H4", open, assembled, 2e5}, "H4", Says::proves_nothing, false, "under the 10 MΩ"},
        {{"VCC", "H4", open, assembled, 2e7}, "H4", Says::agrees, false, "20 MΩ"},
        {{"V+", "H2", joined, assembled, 3, rising}, "H2", Says::proves_nothing, false, "began low and rose"},
        {{"V+", "H2", joined, bare, 3, rising},
         "H2",
         Says::contradicts,
         false,
         "must be open"}, // no capacitors there
        {{"GND", "H2", joined, assembled, 0.3}, "H2", Says::agrees, false, "not that its barrel is whole"},
        {{"GND", "H2", open, assembled}, "H2", Says::contradicts, false, "may be a supply"},
        {{"GND", "H4", open, assembled}, "H4", Says::proves_nothing, false, "not grounded"},
        {{"TP7", "H4", joined, assembled}, "H4", Says::proves_nothing, false, "role the log does not say"},
        // bare and empty
        {{"H1", "supply", open, bare}, "H1", Says::proves_nothing, false, "proves nothing"},
        {{"H1", "GND", open, assembled}, "H1", Says::proves_nothing, false, "proves nothing"},
        {{"H1", "GND", joined, assembled}, "H1", Says::contradicts, false, "copper is exposed there"},
        {{"H1", "GND", joined, assembled}, "H1", Says::contradicts, false, "possibly through a part"},
        {{"H1", "VBAT", joined, bare}, "H1", Says::contradicts, false, "copper-free ring"},
        {{"H1", "VBAT", joined, assembled}, "H1", Says::contradicts, false, "copper is exposed there"},
        {{"H1", "TP7", joined, bare}, "H1", Says::contradicts, false, "copper is exposed there"},
        {{"H1", "GND", joined, "bare board"}, "H1", Says::contradicts, false, "taken as empty"},
        {{"H3", "GND", joined, bare}, "H3", Says::agrees, false, "the picture shows copper up to this wall"},
        {{"H3", "+12V", joined, bare}, "H3", Says::agrees, false, "the picture shows copper up to this wall"},
        // a screw in it
        {{"screw@H3", "+24V", joined, with_screw, 0.2}, "H3", Says::agrees, true, "proven in that state"},
        {{"H3", "+24V", joined, with_screw, 0.2}, "H3", Says::agrees, true, "proven in that state"},
        {{"screw H1", "+24V", joined, with_screw},
         "H1",
         Says::contradicts,
         true,
         "the picture shows the screw apart"},
        {{"screw in H1", "+24V", open, with_screw}, "H1", Says::proves_nothing, false, "no clearance"},
        {{"H3 screw", "+24V", joined, with_screw, 5e4}, "H3", Says::proves_nothing, false, "over the 10 Ω"},
        {{"screw@H3", "+24V", joined, with_screw, 4, rising}, "H3", Says::proves_nothing, false, "settled"},
        {{"screw@H4", "+24V", joined, with_screw, 0.2},
         "H4",
         Says::contradicts,
         true,
         "must be open to a plated hole"},
        {{"screw@H2", "GND", joined, with_screw, 0.2}, "H2", Says::agrees, false, "plated, grounded"},
        {{"screw@H1", "GND", joined, with_screw, 0.2},
         "H1",
         Says::contradicts,
         false,
         "shows the screw apart"},
        {{"screw@H3", "GND", joined, with_screw, 0.2},
         "H3",
         Says::proves_nothing,
         false,
         "bracket and chassis"},
        {{"screw@H3", "24V", joined, "screw fitted, chassis connected"},
         "H3",
         Says::proves_nothing,
         false,
         "connected chassis"},
        {{"screw@H1", "24V", open, bare}, "H1", Says::contradicts, false, "none was fitted"},
        {{"H7", "24V", joined, "bare board"}, "H7", Says::proves_nothing, true, "the picture cannot say"},
        // wall unknown, via, hole to hole
        {{"H5", "24V", joined, assembled, 0.2}, "H5", Says::contradicts, false, "must be open"},
        {{"H5", "24V", open, assembled}, "H5", Says::proves_nothing, false, "not shown to be plated"},
        {{"H5", "GND", joined, assembled}, "H5", Says::proves_nothing, false, "by plating or by bare copper"},
        {{"H6", "24V", joined, assembled}, "H6", Says::proves_nothing, false, "a via belongs"},
        {{"H2", "H4", joined, assembled}, "H4", Says::proves_nothing, false, "no pin at either end"},
        // rows that deny themselves or count for nothing
        {{"H4", "24V", open, assembled, 0.3}, "H4", Says::contradicts, false, "deny each other"},
        {{"H4", "24V", joined, assembled, 2e7}, "H4", Says::contradicts, false, "deny each other"},
        {{"H4", "24V", joined, "assembled, powered"}, "H4", Says::proves_nothing, false, "powered"},
        {{"H4", "24V", joined, "assembled, battery connected"}, "H4", Says::proves_nothing, false, "battery"},
        // against what the log expected
        {{"H4", "24V", open, assembled, {}, {}, joined},
         "H4",
         Says::contradicts,
         false,
         "expected joined, read open"},
        {{"H1", "24V", joined, with_screw, {}, {}, open},
         "H1",
         Says::contradicts,
         true,
         "expected open, read screw joined"},
        {{"H3", "GND", joined, bare, {}, {}, joined}, "H3", Says::agrees, false, "copper up to this wall"},
        // a fault that picture and meter both show
        {{"H3", "GND", joined, bare, {}, {}, open}, "H3", Says::agrees, false, "NOT AS IT SHOULD BE"},
        {{"H3", "+24V", joined, with_screw, 0.2, {}, open},
         "H3",
         Says::agrees,
         true,
         "expected open, read screw"},
    };
    for (const Scenario& scenario : scenarios) {
        const MeterResult result = judged({scenario.row});
        CAPTURE(scenario.row.a);
        CAPTURE(scenario.row.b);
        CAPTURE(scenario.row.setup);
        const MeterAgreement* found = nullptr;
        for (const MeterAgreement& agreement : result.holes)
            if (agreement.hole == scenario.hole) found = &agreement;
        REQUIRE(found);
        CAPTURE(found->why);
        CHECK(found->says == scenario.says);
        CHECK(found->contact_proven == scenario.contact_proven);
        CHECK(has(found->why, scenario.words));
        CHECK(found->why.starts_with("CONTRADICTION: ") == (scenario.says == Says::contradicts));
        CHECK(found->lines == std::vector<int>{2});
        CHECK_FALSE(has(found->why, "safe"));
    }
}

TEST_CASE("the leads' resistance is taken off where it is given") {
    ContinuityReading row = reading({"H2", "GND", joined, assembled, 10.3}, 2);
    CHECK(meter_against_pictures(std::vector{row}, holes()).holes.at(0).says == Says::proves_nothing);
    row.lead_ohms = 0.4;
    CHECK(meter_against_pictures(std::vector{row}, holes()).holes.at(0).says == Says::agrees);
    row.ohms = 0.3; // zeroed with better contact than it was read
    CHECK(meter_against_pictures(std::vector{row}, holes()).holes.at(0).says == Says::agrees);
}

TEST_CASE("several readings of one hole: the weightiest first, all lines named") {
    const MeterResult result = judged({{"H2", "GND", joined, assembled, 0.3},
                                       {"H1", "24V", open, bare},
                                       {"H2", "24V", joined, assembled, 0.5},
                                       {"H2", "TP9", open, assembled}});
    REQUIRE(result.holes.size() == 2);
    CHECK(result.holes[0].hole == "H1"); // in the order of the holes
    const MeterAgreement& h2 = result.holes[1];
    CHECK(h2.says == Says::contradicts);
    CHECK(h2.why.starts_with("CONTRADICTION: log line 4: joined to supply pin 24V (0.5 Ω)"));
    CHECK(has(h2.why, "; log line 2: joined to ground pin GND"));
    CHECK(h2.lines == std::vector{2, 4, 5});
}

TEST_CASE("ground found by one pin of many is found") {
    const MeterResult result = judged({{"H2", "GND1", open, assembled}, {"H2", "GND2", joined, assembled}});
    CHECK(result.holes.at(0).says == Says::agrees);
    const MeterResult none = judged({{"H2", "GND1", open, assembled}, {"H2", "GND2", open, assembled}});
    CHECK(none.holes.at(0).says == Says::contradicts);
    CHECK(has(none.holes.at(0).why, "lines 2 and 3: open to every ground pin"));
}

TEST_CASE("rows that deny each other are shouted, unless a part explains them") {
    const MeterResult denied = judged({{"H4", "TP1", open, assembled}, {"TP1", "h4", joined, assembled}});
    CHECK(denied.holes.at(0).says == Says::contradicts);
    CHECK(has(denied.holes.at(0).why, "CONTRADICTION: log lines 2 and 3"));
    const MeterResult diode = judged({{"H4", "TP1", open, assembled, {}, {}, {}, "+ on H4"},
                                      {"H4", "TP1", joined, assembled, {}, {}, {}, "+ on TP1"}});
    CHECK(diode.holes.at(0).says == Says::proves_nothing);
    CHECK(has(diode.holes.at(0).why, "by polarity"));
    // Another set-up is another test.
    CHECK(judged({{"H4", "TP1", open, assembled}, {"H4", "TP1", joined, bare}}).holes.at(0).says !=
          Says::contradicts);
}

TEST_CASE(
    "points: ids before names, any case, letters of any alphabet; a name that two holes carry is none") {
    CHECK(judged({{"h2", "GND", joined, assembled}}).holes.at(0).hole == "H2");
    CHECK(judged({{" LID  left", "GND", open, assembled}}).holes.at(0).hole == "H1");
    CHECK(judged({{"erdung öl", "GND", joined, assembled}}).holes.at(0).hole == "H2");
    CHECK(judged({{"wall of H1", "GND", open, assembled}}).holes.at(0).hole == "H1");
    CHECK(has(judged({{"screw (lid left)", "24V", open, with_screw}}).holes.at(0).why, "no clearance"));
    std::vector<MeterHole> crossed = holes();
    crossed[0].name = "H2"; // a name that is another hole's id
    const std::vector rows{reading({"H2", "GND", joined, assembled}, 2)};
    CHECK(meter_against_pictures(rows, crossed).holes.at(0).hole == "H2");
    const MeterResult twice = judged({{"spare", "24V", open, assembled}});
    CHECK(twice.holes.empty());
    CHECK(has(board_words(twice), "more than one hole"));
    const MeterResult unknown =
        judged({{"H9", "24V", joined, assembled, {}, {}, open}, {"screw", "24V", open, with_screw}});
    CHECK(unknown.holes.empty());
    CHECK(has(board_words(unknown), "line 2: \"H9\" names no hole"));
    CHECK(has(board_words(unknown), "line 3: \"screw\" names no hole"));
    CHECK(has(board_words(unknown),
              "NOT PLACED: log line 2: \"H9\" names no hole that was measured, and reads joined to supply"));
}

TEST_CASE("what a pin is, by its name or else by the note") {
    const auto says = [](const char* pin, const char* note) {
        const std::string why = judged({{"H4", pin, open, assembled, {}, {}, {}, "", note}}).holes.at(0).why;
        if (has(why, "supply pin ")) return 's';
        if (has(why, "ground pin ")) return 'g';
        return has(why, "of supply and of ground") ? 'b' : '?';
    };
    for (const char* pin :
         {"J1-24V", "+5", "+", "VCC_IO", "3V3", "12 V", "U4 VDD", "bat+", "-12V", "supply pin 1"})
        CHECK_MESSAGE(says(pin, "") == 's', pin);
    for (const char* pin : {"GND", "AGND", "J1.3 ground", "0V", "0 V", "chassis", "PE", "J2-GND", "Earth."})
        CHECK_MESSAGE(says(pin, "") == 'g', pin);
    for (const char* pin : {"TP3", "J1-4", "pin 24", "V-", "-", "bridge", "5", "level", "pad 3"})
        CHECK_MESSAGE(says(pin, "") == '?', pin);
    CHECK(says("24V GND", "") == 'b');
    CHECK(says("J1-1", "the 24 V supply") == 's');
    CHECK(says("J1-1", "GND of the connector") == 'g');
    CHECK(says("J1-1", "supply switched off") == '?');
    CHECK(says("GND", "next to the 24 V pin") == 'g');
}

TEST_CASE("supply to ground on the board itself") {
    const auto words = [](const Row& row) { return board_words(judged({row})); };
    CHECK(has(words({"24V", "GND", joined, assembled, 8, ReadingBehaviour::rising}), "expected, capacitors"));
    CHECK(
        has(words({"24V", "GND", open, assembled, 48000, ReadingBehaviour::rising}), "expected, capacitors"));
    CHECK(has(words({"24V", "GND", open, bare, 48000, ReadingBehaviour::rising}), "under the 10 MΩ"));
    CHECK(has(words({"GND", "24V", joined, assembled, 2, ReadingBehaviour::steady}),
              "stayed low: not expected"));
    CHECK(has(words({"24V", "GND", joined, assembled, 2}), "is not said"));
    CHECK(has(words({"24V", "GND", joined, bare, 2}), "CONTRADICTION: log line 2"));
    CHECK(has(words({"24V", "GND", open, assembled}), "no short at that moment"));
    CHECK(has(words({"24V", "GND", open, bare, {}, {}, joined}),
              "CONTRADICTION (expected: joined), log line 2"));
    CHECK(has(words({"24V", "GND", open, bare, 0.1}), "deny each other"));
    CHECK(has(words({"TP1", "GND", joined, bare}), "kept, not judged"));
    CHECK(judged({{"24V", "GND", open, bare}}).holes.empty());
}

TEST_CASE("both polarities are asked for on assembled boards only") {
    const Row one{"H4", "24V", open, assembled, {}, {}, {}, "+ on 24V"};
    const Row other{"24V", "H4", open, assembled, {}, {}, {}, "+ on H4"};
    CHECK(has(board_words(judged({one})), "read line 2 again with the probes exchanged"));
    CHECK_FALSE(has(board_words(judged({one, other})), "probes exchanged"));
    CHECK(has(board_words(judged({one, one})), "read lines 2 and 3 again"));
    CHECK_FALSE(
        has(board_words(judged({{"H4", "24V", open, assembled, {}, {}, {}, "both"}})), "probes exchanged"));
    CHECK_FALSE(has(board_words(judged({{"H4", "24V", open, bare}})), "probes exchanged"));
}

TEST_CASE("what the log does not say of its set-up is named, and only that") {
    const std::string all = board_words(judged({{"screw@H1", "24V", open, ""}}));
    for (const char* fact : {"bare or assembled", "torque", "which side", "cables", "chassis", "battery",
                             "which meter", "calibrated", "leads' resistance"})
        CHECK_MESSAGE(has(all, fact), fact);
    CHECK_FALSE(has(all, "whether a screw was fitted"));
    ContinuityReading told = reading({"screw@H1", "24V", open, with_screw, {}, {}, {}, "both"}, 2);
    told.meter = "bench meter";
    told.calibrated_on = "2031-02-03";
    told.lead_ohms = 0.2;
    const MeterResult result = meter_against_pictures(std::vector{told}, holes());
    CHECK(result.board == std::vector<std::string>{std::string(two_wire_limits)});
    const std::string bare_words =
        board_words(judged({{"H1", "24V", open, bare}, {"H4", "24V", open, "bare board"}}));
    CHECK(has(bare_words, "Not said in line 3 of the log: whether a screw was fitted."));
    CHECK(has(bare_words, "Not said in any line of the log: which meter was used."));
    for (const char* fact : {"battery", "cables", "torque"})
        CHECK_FALSE_MESSAGE(has(bare_words, fact), fact);
}

TEST_CASE("no log, no words; a log always carries the meter's limits") {
    CHECK(judged({}).holes.empty());
    CHECK(judged({}).board.empty());
    CHECK(judged({{"H1", "24V", open, bare}}).board.back() == two_wire_limits);
    CHECK(has(std::string(before_any_reading), "discharge the capacitors and verify"));
    CHECK(has(std::string(before_any_reading), "licensed practice"));
}
