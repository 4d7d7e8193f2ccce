// SPDX-License-Identifier: Apache-2.0
#include "record/private.hpp"
#include "record/sample_record.hpp"
#include "report/report.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <doctest/doctest.h>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

using namespace ringwall;
using ringwall::test::sample_record;
using Json = nlohmann::ordered_json;

namespace {

/// A record in which every text that a results file can hold and that is no word of a list has a mark of its
/// own: found by walking the file, so that a new text needs no word here to be tried.
class Marked {
  public:
    BoardRecord record;
    std::map<std::string, std::vector<std::string>> marks; ///< by key, numbers of lists left out

    Marked() {
        BoardRecord sample = sample_record();
        sample.left_out.clear(), sample.not_proven.clear();
        json_ = Json::parse(to_json(sample, "/results"));
        walk(json_, "");
        record = from_json(json_.dump());
    }

  private:
    void walk(Json& node, const std::string& path) {
        if (node.is_object())
            for (auto& [key, child] : node.items())
                walk(child, path.empty() ? key : path + "." + key);
        else if (node.is_array())
            for (Json& child : node)
                walk(child, path);
        else if (node.is_string())
            mark(node, path);
    }
    void mark(Json& text, const std::string& path) {
        const Json before = text;
        const std::string own = "Mark" + std::to_string(1000 + count_++) + "k";
        const bool is_file = path.ends_with("file") || path.ends_with("repeat_of");
        text = is_file ? "folder-" + own + "/name.tif" : "of " + own + " there";
        try {
            (void)from_json(json_.dump());
        } catch (const Error&) {
            text = before; // a word of a list
            return;
        }
        marks[path].push_back(own);
    }

    Json json_;
    int count_ = 0;
};

/// The program's own words and words of lists: nobody else writes there.
bool is_own_word(const std::string& path) {
    const auto in = [&](const char* start) { return path.starts_with(start); };
    if (in("sources.")) return path != "sources.file";
    if (in("holes.")) return path != "holes.name" && path != "holes.purpose";
    if (path.ends_with("why")) return path != "decisions.why";
    const std::set<std::string> words{"layers.picture",
                                      "why_nothing",
                                      "meter.hole",
                                      "meter_notes",
                                      "measured.what",
                                      "rule.spacing_row",
                                      "decisions.picture_sha256"};
    return in("program.") || in("options.") || in("picture.") || words.contains(path);
}

const std::set<std::string> labels{"board.name",   "board.revision", "board.unit",
                                   "holes.name",   "holes.purpose",  "holes_not_found",
                                   "continuity.a", "continuity.b",   "screw.name"};

} // namespace

TEST_CASE("of every text that a person can word, labels alone stay, in any of the results") {
    Marked marked;
    const std::string before = to_json(marked.record, "/results") + report_html(marked.record, {});
    leave_out_private(marked.record);
    const std::string after =
        to_json(marked.record, "/results") + to_csv(marked.record) + report_html(marked.record, {});
    std::set<std::string> gone;
    for (const auto& [path, marks] : marked.marks) {
        if (is_own_word(path)) continue;
        for (const std::string& mark : marks) {
            CHECK_MESSAGE(before.find(mark) != std::string::npos, path);
            CHECK_MESSAGE((after.find(mark) != std::string::npos) == labels.contains(path), path);
        }
        if (!labels.contains(path)) gone.insert(path);
    }
    for (const std::string& label : labels)
        CHECK_MESSAGE(marked.marks.contains(label), label);
    for (const std::string& path : gone) {
        const bool listed = std::any_of(
            marked.record.left_out.begin(), marked.record.left_out.end(), [&](const std::string& key) {
                return key == path || key == path + " (folders)" || path.starts_with(key + ".");
            });
        CHECK_MESSAGE(listed, path);
    }
    CHECK(gone.size() >= 25);
}

TEST_CASE("dates, words of a list and files' own names stay, and are not listed as left out") {
    BoardRecord record = sample_record();
    record.left_out.clear();
    record.sources[0].file = "/home folder/N. N./secret place/face.tif";
    record.screw->source = "";
    leave_out_private(record);
    CHECK(record.left_out ==
          std::vector<std::string>{
              "evidence.custody", "evidence.intake.serial", "evidence.intake.lot", "sources.file (folders)",
              "evidence.pictures.file (folders)", "evidence.pictures.taken_by", "evidence.pictures.filter",
              "evidence.pictures.repeat_of (folders)", "continuity.meter", "continuity.by", "continuity.note",
              "decisions.who", "decisions.why", "layers.stated.evidence"});
    CHECK(record.measured == sample_record().measured);
    CHECK(record.intake.chosen == "returned");
    CHECK(record.picture_notes[0].taken_on == "2026-03-01");
    CHECK(record.picture_notes[0].fitted == "bracket");
    CHECK(record.continuity[0].setup == "bare board");
    CHECK(record.continuity[0].when == "10:30");
    CHECK(record.sources[0].warnings.back().find("text burned into a picture") != std::string::npos);
    const std::string bytes = to_json(record, "/home folder/N. N./results");
    for (const char* gone : {"SN 7", "L 3", "N. N.", "\"me\"", "\"lab\"", "A1", "secret place", "old/first"})
        CHECK_MESSAGE(bytes.find(gone) == std::string::npos, gone);
    CHECK(bytes.find("\"file\": \"face.tif\"") != std::string::npos);
}

TEST_CASE("a place that is no hole's, a way of choosing in own words, a source of an own table") {
    BoardRecord record = sample_record();
    record.measured[1].where = "N. N.'s corner";
    record.intake.chosen = "bought by N. N.";
    record.screw->source = "drawing of N. N.; sizes of the case file";
    leave_out_private(record);
    CHECK(record.measured[0].where == "H1");
    CHECK(record.measured[1].where == "(left out)");
    CHECK(record.intake.chosen == "chosen");
    CHECK(record.screw->source == "sizes of the case file");
    record.screw->source = screw_named("M3").source;
    leave_out_private(record);
    CHECK(record.screw->source == screw_named("M3").source);
    CHECK_FALSE(record.screw->source.empty());
}

TEST_CASE("what was never there is not listed as left out") {
    BoardRecord record;
    record.sources.resize(1);
    record.sources[0].file = "face.tif";
    leave_out_private(record);
    CHECK(record.left_out.empty());
}
