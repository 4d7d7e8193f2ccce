// SPDX-License-Identifier: Apache-2.0
#include "report/report.hpp"

#include "inspection/write_report.hpp"
#include "meter/agreement.hpp"
#include "report/page_records.hpp"
#include "report/page_text.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

BoardRecord without_screw() {
    BoardRecord record = sample().record;
    record.screw.reset();
    record.rule = {};
    for (auto& hole : record.holes)
        hole.screw.reset(), hole.screw_why = "no screw was given";
    return record;
}

BoardRecord without_holes() {
    BoardRecord record = without_screw();
    record.holes.clear();
    record.name = record.revision = record.unit = "";
    record.why_nothing = "no hole was found";
    return record;
}

BoardRecord vias_only() {
    BoardRecord record = without_screw();
    const HoleRecord via = record.holes.back();
    record.holes.assign(240, via);
    record.continuity.clear(), record.meter.clear(), record.measured.clear(), record.custody.clear();
    record.decisions.clear(), record.picture_notes.clear(), record.left_out.clear();
    record.intake = {};
    return record;
}

BoardRecord crowd() {
    BoardRecord record = sample().record;
    HoleRecord one = record.holes.front();
    for (int i = 0; i < 50; ++i) {
        one.id = "H" + std::to_string(100 + i);
        record.holes.push_back(one);
    }
    return record;
}

std::vector<BoardRecord> all_records() {
    return {sample().record, without_screw(), without_scale(), without_holes(), vias_only(),
            crowd(),         of_stack(),      of_stack(false), of_edge()};
}

/// Every text of the record that a person or a file may have written.
BoardRecord hostile(const std::string& text) {
    BoardRecord record = sample().record;
    record.name = record.revision = record.unit = text;
    record.sources[0].file = text.substr(0, text.find('/')); // a name, not a folder
    record.sources[0].pixel_mm_from = text;
    record.sources[0].warnings = {text};
    for (auto& hole : record.holes) {
        hole.name = hole.purpose = hole.screw_why = hole.wall.why = hole.keepout.why = text;
        if (!hole.screw) continue;
        hole.screw->name = hole.screw->why = hole.screw->would_decide = text;
        hole.screw->forbids_gap = {text};
        for (auto& path : hole.screw->paths)
            path.part = path.why = text;
        hole.screw->alternatives = {{text, Estimate::missing(text), Finding::undecided}};
        hole.budget.push_back({text, text, 0.1, 0.1});
    }
    record.intake = {text, text, {}, text};
    record.picture_notes = {{text, text, text, text, text, text, text, text, {}, {}, {}, {}}};
    record.custody = {{text, text, text, text, text, text}};
    record.measured = {{text, text, 1, {}, text, {}, {}, {}, text}};
    for (auto& row : record.continuity)
        row.a = row.b = row.setup = row.polarity = row.meter = row.when = row.by = row.note = text;
    record.meter[0].why = record.meter[0].hole = text;
    record.decisions[0].who = record.decisions[0].when = record.decisions[0].why = text;
    record.left_out = record.not_proven = record.holes_not_found = {text};
    record.options = {{text, text}};
    record.screw->source = record.rule.row = text;
    return record;
}

} // namespace

TEST_CASE("the finding comes first, in the fixed words, naming unit, hole, screw, position and picture") {
    const std::string text = visible(page_of(sample().record));
    const std::string lead =
        "Unit A-0007, hole H1 (lid, front left), screw UNC6-32: CONTACT with a supply "
        "PROVEN by the meter in the state it was read in; by the picture: can touch copper in "
        "the position drawn. Position drawn: ";
    const std::size_t at = text.find(lead);
    REQUIRE(at != std::string::npos);
    CHECK(at < text.find("Every hole, worst first"));
    CHECK(text.substr(at, 400).find("Picture: sample-face.tif.") != std::string::npos);
    CHECK(text.find("no contact shown, but nearer than the spacing chosen (row B1, a yardstick; the table "
                    "does not name "
                    "this case)") != std::string::npos);
    CHECK(text.find("gap shown to the copper seen") != std::string::npos);
    CHECK(text.find("neither contact nor gap shown; handle as if it could touch") != std::string::npos);
    CHECK(text.find("the risk is divided by the number of holes") != std::string::npos);
    BoardRecord missing = sample().record;
    missing.holes_not_found = {"\"corner\""};
    const std::string page = visible(page_of(missing));
    CHECK(
        page.find("Hole \"corner\" of the case was not found in the picture: nothing below speaks of it.") !=
        std::string::npos);
    CHECK(page.find(
              "of 7 holes that this report is about, 5 were judged. Hole \"corner\" of the case was not") !=
          std::string::npos);
    CHECK(text.find("98.99999") == std::string::npos); // 1 - 0.05 / 5 as a person writes it
    CHECK(text.find("judged at 99 %") != std::string::npos);
}

TEST_CASE("worst first: can touch, too close, undecided, gap shown, not judged; least space left first") {
    const Sample& board = sample();
    std::string order;
    for (const HoleRecord* hole : worst_first(board.record))
        order += hole->id + " ";
    // H5 (plated, cut in: 0.42 - 0.418 mm) before H3 (0.51 - 0.418 mm)
    CHECK(order == "H1 H2 H5 H3 H4 H6 ");
}

TEST_CASE(
    "contact that the meter proved comes first, whatever the picture found; what it says of the board too") {
    BoardRecord record = sample().record;
    MeterAgreement proven;
    proven.hole = "H4";
    proven.contact_proven = true;
    proven.why = "log line 9: screw joined to supply pin 24V (0.3 Ω).";
    record.meter = {proven};
    record.meter_notes = {"CONTRADICTION (expected: open), log line 3: 24V to GND joined.",
                          "NOT PLACED: log line 4: \"corner\" names no hole that was measured.",
                          "Not said in log line 3 of the log: which meter was used."};
    CHECK(worst_first(record).front()->id == "H4");
    const std::string text = visible(page_of(record));
    const std::string first = text.substr(0, text.find("Every hole, worst first"));
    CHECK(first.find(
              "CONTACT with a supply PROVEN by the meter in the state it was read in; by the picture: ") !=
          std::string::npos);
    CHECK(first.find("Meter: CONTRADICTION (expected: open), log line 3") != std::string::npos);
    CHECK(first.find("Meter: NOT PLACED: log line 4") != std::string::npos);
    CHECK(first.find("which meter was used") == std::string::npos);
}

TEST_CASE("days and seals that do not follow are said beside the custody; where they do, nothing is") {
    const auto custody_of = [](const std::string& read_on, const std::string& seal) {
        BoardRecord record = sample().record;
        record.picture_notes.resize(1);
        record.picture_notes[0].taken_on = "2026-04-20";
        record.continuity.resize(1);
        record.continuity[0].setup = "assembled unpowered, screw fitted";
        record.continuity[0].when = read_on;
        record.custody = {{"2026-04-01", "a", "b", "", "S-2", ""}, {"2026-04-02", "b", "c", seal, "", ""}};
        return visible(page_of(record));
    };
    const std::string bad = custody_of("2026-04-06 10:00", "S-9"), good = custody_of("2026-04-21", "S-2");
    for (const std::string said : {"was read with a screw fitted on 2026-04-06, before ",
                                   "Custody, step 2: seal \"S-9\" was found, \"S-2\" was put on"}) {
        CHECK(bad.find(said) != std::string::npos);
        CHECK(good.find(said.substr(0, 24)) == std::string::npos);
    }
}

TEST_CASE("no page uses a word that promises, and none shows a tick") {
    const std::regex promises(
        "\\b(safe|safely|fixed|enough|clear|clearly|pass|passed|fail|ok|okay|good news|harmless)\\b",
        std::regex::icase);
    for (const auto& record : all_records()) {
        const std::string text = visible(page_of(record));
        std::smatch found;
        const bool promised = std::regex_search(text, found, promises);
        CHECK_MESSAGE(!promised, "found: ", promised ? found.str() : "");
        for (const char* mark : {"✓", "✔", "✅", "☑", "green"})
            CHECK(text.find(mark) == std::string::npos);
    }
}

TEST_CASE("every length with its uncertainty carries its unit, and so does every number in a table") {
    const std::regex after("^(mm|µm|mm²|px|voxels)");
    const std::regex cell(
        "^ ?(−)?[0-9.]+( ±[0-9.]+)? (mm|µm|mm²|px|voxels|%|V|Ω)([ ,(].*)? ?$|^ ?[0-9]+ ?$|^ ?–.*$|"
        "^ ?[0-9]{4}-.*$|^ ?[0-9]+(, [0-9]+)* ?$");
    for (const auto& record : all_records()) {
        if (record.edge) continue; // its tables have their units in the head
        const std::string page = page_of(record), text = visible(page);
        for (std::size_t at = text.find(" ±"); at != std::string::npos; at = text.find(" ±", at + 1)) {
            std::size_t end = at + std::string(" ±").size();
            if (!std::isdigit(static_cast<unsigned char>(text[end]))) continue; // "± U"
            while (std::isdigit(static_cast<unsigned char>(text[end])) || text[end] == '.')
                ++end;
            const std::string rest = text.substr(end + 1, 8);
            CHECK_MESSAGE(std::regex_search(rest, after), text.substr(at - 20, 60));
        }
        for (const auto& number : number_cells(page)) {
            if (number.find_first_of(".") == std::string::npos) continue; // counts, dates, log lines
            CHECK_MESSAGE(std::regex_search(number, cell), number);
        }
    }
}

TEST_CASE("tags nest, nothing is fetched, nothing runs") {
    for (const auto& record : all_records()) {
        const std::string page = page_of(record);
        CHECK(nesting_fault(page) == "");
        for (const char* outside :
             {"http:", "https:", "<script", "<link", "url(", "@import", "<iframe", " onload", "{{"})
            CHECK_MESSAGE(page.find(outside) == std::string::npos, outside);
    }
    CHECK(nesting_fault("<p><b></p></b>") != ""); // the reader itself can fail
    CHECK(nesting_fault("<p>") != "");
}

TEST_CASE("whatever a person or a file wrote is text, not markup") {
    for (const std::string text : {"<script>alert(1)</script>", "\"><img src=x onerror=y>",
                                   "{{{title}}} {{> table}}", "größer als 3,3 mm & 'µΩ' 日本語"}) {
        const std::string page = page_of(hostile(text));
        CHECK(nesting_fault(page) == "");
        CHECK(page.find("<script") == std::string::npos);
        CHECK(page.find("<img") == std::string::npos);
        const std::string name = text.substr(0, text.find('/'));
        CHECK(count_of(visible(page), name) > 60);
    }
}

TEST_CASE("nothing is left out of the page that the record holds") {
    const std::string text = visible(page_of(sample().record));
    for (const char* part : {"pin gauge",
                             "CONTRADICT each other",
                             "Contact proven by meter, hole H1",
                             "bench meter 3",
                             "0.7 Ω",
                             "AFTER the first result was known",
                             "seen under the microscope",
                             "9f86d081884c7d659a2feaa0c55ad015",
                             "abc1234",
                             "intake.lot",
                             "A 1188",
                             "kV",
                             "row B4 instead of B1",

                             "level choice",
                             "height of the plane",
                             "z = 1.645",
                             "Recalled parts stay out of use",
                             "trained people",
                             "licensed practice",
                             "only if this copper is on the outer face",
                             "What would decide it: a picture with pixels of 10 µm",
                             "No gap can be found here: part of the turn is hidden",
                             "it was returned, not drawn at random",
                             "48 vias"}) {
        CHECK_MESSAGE(text.find(part) != std::string::npos, part);
    }
    CHECK(text.find("/") != 0);
    CHECK(text.find("pictures/sample-face.tif") == std::string::npos); // names, no folders
}

TEST_CASE("paths that were not judged are named, with the size that is missing") {
    const std::string text = visible(page_of(sample().record));
    CHECK(count_of(text, "not judged: its outline was not given") == 5); // once a judged hole
}

TEST_CASE("a finding that is not the thread's names the path, and its number is that path's") {
    BoardRecord record = sample().record;
    ScrewFit& fit = *record.holes[3].screw; // H4: the thread shows a gap, the head leaves it undecided
    fit.finding = Finding::undecided;
    const std::string text = visible(page_of(record));
    CHECK(text.find("the finding is that of the head, near side") != std::string::npos);
    CHECK(text.find("−0.440 ±0.026 mm (head, near side)") != std::string::npos);
}

TEST_CASE("sensible pages without a screw, a scale, a hole, and with vias alone") {
    CHECK(visible(page_of(without_screw())).find("not judged (no screw was given)") != std::string::npos);
    const std::string no_scale = visible(page_of(without_scale()));
    CHECK(no_scale.find("nothing could be decided: no scale") != std::string::npos);
    CHECK(no_scale.find("screw UNC6-32: neither contact nor gap shown; handle as if it could touch. Position "
                        "drawn: none, for want of a scale") != std::string::npos);
    CHECK(no_scale.find("no number without a scale") != std::string::npos);
    CHECK(no_scale.find("What would decide it: Two points of known distance.") != std::string::npos);
    CHECK(no_scale.find("runs free") == std::string::npos);
    CHECK(no_scale.find("132.00 ±0.18 px") != std::string::npos);
    const std::string no_holes = visible(page_of(without_holes()));
    CHECK(no_holes.find("The unit examined: nothing could be judged: no hole was found.") !=
          std::string::npos);
    CHECK(no_holes.find("Every hole") == std::string::npos);
    const std::string vias = page_of(vias_only());
    CHECK(visible(vias).find("240 vias") != std::string::npos);
    CHECK(count_of(vias, "id=\"hole-") == 0);
    CHECK(vias.size() < 60000); // counted, not listed
}

TEST_CASE("a page a hole, at most 40; the rest is named") {
    CHECK(count_of(page_of(sample().record), "id=\"hole-") == 6);
    const std::string page = page_of(crowd());
    CHECK(count_of(page, "id=\"hole-") == most_hole_pages);
    CHECK(visible(page).find("16 more holes stand in the table") != std::string::npos); // 56 in all
    CHECK(count_of(page, "<a href=\"#hole-") == most_hole_pages);
}

TEST_CASE("same record, same bytes, figures included; every figure stands in the page") {
    const Sample& board = sample();
    const ReportPictures pictures = report_pictures(board.record, board.t.view());
    const std::string page = report_html(board.record, pictures);
    CHECK(page == report_html(board.record, report_pictures(board.record, board.t.view())));
    CHECK(nesting_fault(page) == "");
    CHECK(count_of(page, "<img src=\"data:image/png;base64,") ==
          1 + 2 * 6); // overlay; portrait, unrolled ring
    CHECK(count_of(page, "<img src=\"data:image/svg+xml;base64,") == 6 + 5); // gap curves; H6 has no screw
    CHECK(page.size() < 8 * 1000 * 1000);
    keep("report.html", page);
    keep("report-no-scale.html",
         report_html(without_scale(), report_pictures(without_scale(), board.t.view())));
    keep("report-no-screw.html",
         report_html(without_screw(), report_pictures(without_screw(), board.t.view())));
    keep("report-no-holes.html", page_of(without_holes()));
    keep("report-vias.html", page_of(vias_only()));
}

TEST_CASE("holes that no screw was set against and nobody named are counted, by the reason") {
    BoardRecord record = sample().record;
    for (int i = 0; i < 30; ++i) {
        HoleRecord pin = record.holes.front();
        pin.id = "P" + std::to_string(i), pin.name = pin.purpose = "";
        pin.screw.reset(), pin.screw_why = "too narrow for this screw";
        record.holes.push_back(pin);
    }
    const std::string page = page_of(record);
    CHECK(visible(page).find("30 more holes (too narrow for this screw), 48 vias") != std::string::npos);
    CHECK(count_of(page, "id=\"hole-") == 6);
    for (auto& hole : record.holes)
        hole.screw.reset(), hole.name = hole.purpose = "";
    CHECK(count_of(page_of(record), "id=\"hole-") == 36); // nothing stands out: all of them
}

TEST_CASE("the meter's page has one word for resistance, and says once what two wires cannot prove") {
    BoardRecord record = sample().record;
    record.continuity[0].ohms = 2e5, record.continuity[1].ohms = 0.3;
    const MeterHole bare{"H1", "", HoleKind::hole, WallState::bare, KeepOutState::ring_seen, {}};
    const MeterHole plated{"H3", "", HoleKind::hole, WallState::plated, KeepOutState::ring_seen, {}};
    MeterResult result = meter_against_pictures(record.continuity, std::vector{bare, plated});
    record.meter = result.holes, record.meter_notes = result.board;
    const std::string text = visible(page_of(record));
    CHECK(text.find("Ω") != std::string::npos);
    CHECK(text.find("ohm") == std::string::npos);
    CHECK(count_of(text, "two-wire meter") == 1);
}

TEST_CASE("the options say which part of the rule was not used") {
    BoardRecord record = sample().record;
    record.options = {{"voltage_peak", "24"}, {"spacing_row", "\"B1\""}, {"required_mm", "0.4"}};
    record.rule = {24, VoltageKind::dc, "B1", 0.4};
    const std::string text = visible(page_of(record));
    CHECK(text.find("B1 (not used: required_mm goes before it)") != std::string::npos);
    CHECK(text.find("24 (not used for the spacing") != std::string::npos);
    record.rule.required_mm.reset();
    CHECK(visible(page_of(record)).find("not used") == std::string::npos);
}
