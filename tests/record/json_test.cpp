// SPDX-License-Identifier: Apache-2.0
#include "record/sample_record.hpp"
#include "ringwall/error.hpp"

#include <clocale>
#include <doctest/doctest.h>
#include <regex>

using namespace ringwall;
using ringwall::test::sample_record;

namespace {

/// Keys of the object that starts at the first "{" after `from`, in their order; nested ones are skipped.
std::vector<std::string> keys_after(const std::string& text, const std::string& from) {
    std::size_t i = text.find('{', from.empty() ? 0 : text.find(from) + from.size());
    std::vector<std::string> keys;
    int depth = 0;
    for (; i < text.size(); ++i) {
        const char c = text[i];
        if (c == '{' || c == '[') ++depth;
        if (c == '}' || c == ']') {
            if (--depth == 0) break;
        }
        if (c != '"') continue;
        std::string word;
        for (++i; text[i] != '"'; ++i) {
            if (text[i] == '\\') ++i;
            word += text[i];
        }
        if (depth == 1 && text[i + 1] == ':') keys.push_back(word);
    }
    return keys;
}

/// The contract's keys stand in its order; keys may be added between them.
void check_order(const std::vector<std::string>& keys, const std::vector<std::string>& contract) {
    auto at = keys.begin();
    for (const auto& key : contract) {
        at = std::find(at, keys.end(), key);
        CHECK_MESSAGE(at != keys.end(), "missing or out of order: " << key);
        if (at == keys.end()) return;
    }
}

} // namespace

TEST_CASE("a record survives the file, and the file survives the record, to the bit") {
    const BoardRecord record = sample_record();
    const std::string bytes = to_json(record, "/somewhere/results");
    const BoardRecord back = from_json(bytes);
    CHECK(back == record);
    CHECK(to_json(back, "/elsewhere") == bytes);
    CHECK(bytes.back() == '\n');
}

TEST_CASE("numbers that have no short decimal form survive too") {
    BoardRecord record = sample_record();
    record.holes[0].x_px = 1.0 / 3;
    record.holes[0].y_px = -0.0;
    record.holes[0].bore_mm = Estimate::of(1e-310, 1e300);
    record.holes[0].keepout.mean_mm = 123456789012345678.0;
    const std::string bytes = to_json(record, ".");
    CHECK(bytes.find("-0,") == std::string::npos);
    CHECK(from_json(bytes) == record);
    CHECK(to_json(from_json(bytes), ".") == bytes);
}

TEST_CASE("keys stand in the contract's order") {
    const std::string bytes = to_json(sample_record(), ".");
    check_order(keys_after(bytes, ""),
                {"schema", "program", "options", "decision_rule", "board", "sources", "picture", "holes",
                 "barrels", "layers", "continuity", "meter", "measured", "decisions", "not_proven"});
    check_order(keys_after(bytes, "\"program\": "), {"name", "version", "revision", "libraries"});
    check_order(keys_after(bytes, "\"decision_rule\": "), {"confidence", "z", "holes"});
    check_order(keys_after(bytes, "\"board\": "),
                {"name", "revision", "unit", "thickness_mm", "copper_layers"});
    check_order(keys_after(bytes, "\"copper_layers\": "), {"value", "at_least", "why", "layers_z_mm"});
    check_order(keys_after(bytes, "\"sources\": "),
                {"file", "sha256", "shot", "width_px", "height_px", "slices", "bits", "radiometry", "dense",
                 "pixel_mm", "pixel_xy_mm", "pixel_mm_from", "side_to_source", "geometry", "blur_sigma_px",
                 "noise", "saturated_fraction", "smallest_foil_seen_um", "warnings"});
    check_order(keys_after(bytes, "\"picture\": "),
                {"blur_sigma_px", "noise", "saturated_fraction", "warnings"});
    check_order(keys_after(bytes, "\"holes\": ["), {"id",
                                                    "source",
                                                    "kind",
                                                    "seen_fraction",
                                                    "x_px",
                                                    "y_px",
                                                    "u_x_px",
                                                    "u_y_px",
                                                    "x_mm",
                                                    "y_mm",
                                                    "bore_mm",
                                                    "bore_px",
                                                    "inscribed_mm",
                                                    "drill_mm",
                                                    "drill_px",
                                                    "roundness_mm",
                                                    "furthest_void_mm",
                                                    "shape",
                                                    "contour",
                                                    "wall",
                                                    "keepout",
                                                    "screw",
                                                    "budget"});
    check_order(keys_after(bytes, "\"shape\": "), {"state", "excess_mm", "excess_mm2", "arcs_deg"});
    check_order(keys_after(bytes, "\"wall\": "),
                {"state", "covered_fraction", "missing_arcs_deg", "thickness_um", "copper_um_integrated"});
    check_order(keys_after(bytes, "\"keepout\": "),
                {"state", "min_mm", "min_px", "min_angle_deg", "p_low_mm", "searched_to_mm", "mean_mm",
                 "own_outer_mm", "touching_arcs_deg", "runs_on_arcs_deg", "largest_gap_not_excluded_mm",
                 "profile", "planes"});
    check_order(keys_after(bytes, "\"profile\": ["), {"angle_deg", "gap_mm", "gap_px", "u_mm"});
    check_order(keys_after(bytes, "\"planes\": ["),
                {"plane", "layer", "z_mm", "state", "min_mm", "min_angle_deg", "p_low_mm", "profile"});
    check_order(keys_after(bytes, "\"layers\": ["), {"number", "z_mm", "picture"});
    check_order(keys_after(bytes, "\"screw\": "),
                {"name", "engagement", "resting_reach_mm", "cutting_reach_mm", "required_mm",
                 "contact_margin_mm", "margin_mm", "cutting_margin_mm", "finding", "why", "would_decide",
                 "paths"});
    check_order(keys_after(bytes, "\"paths\": ["),
                {"part", "side", "layer", "reach_mm", "contact_margin_mm", "margin_mm", "finding"});
    check_order(keys_after(bytes, "\"geometry\": "), {"source_to_board_mm", "centre_px"});
    check_order(keys_after(bytes, "\"meter\": ["), {"hole", "agrees", "why"});
    check_order(keys_after(bytes, "\"continuity\": ["),
                {"a", "b", "expect", "reading", "ohms", "behaviour", "setup", "polarity", "lead_ohms",
                 "meter", "calibrated_on", "when", "by", "note"});
    check_order(keys_after(bytes, "\"measured\": ["), {"what", "where", "value_mm", "u_mm", "with"});
    check_order(keys_after(bytes, "\"decisions\": ["), {"who", "when", "what", "why"});
}

TEST_CASE("an estimate without a value says why, and no stage's key is silently null") {
    BoardRecord record = sample_record();
    record.layers.reset();
    const std::string bytes = to_json(record, ".");
    CHECK(bytes.find(R"("thickness_mm": {"value": null, "u": null, "why": "not seen face-on"})") !=
          std::string::npos);
    for (const std::string key : {"barrels", "layers", "screw"}) {
        CHECK(bytes.find("\"" + key + "\": null") != std::string::npos);
        CHECK(bytes.find("\"" + key + "_why\": \"") != std::string::npos);
    }
    CHECK(std::regex_search(bytes, std::regex(R"("budget": null)"))); // the via
}

TEST_CASE("what nobody stated is null or an empty list, and survives the file") {
    BoardRecord record;
    record.holes.resize(1);
    record.holes[0].screw_why = "no screw was given";
    record.sources.resize(1);
    const std::string bytes = to_json(record, ".");
    CHECK(from_json(bytes) == record);
    for (const std::string part :
         {R"("continuity": [])", R"("meter": [])", R"("measured": [])", R"("left_out": [])",
          R"("screw": null)", R"("screw_why": "no screw was given")", R"("geometry": null)",
          R"("geometry_why": "no distances were stated")", R"("voltage_kind": "unknown")"})
        CHECK_MESSAGE(bytes.find(part) != std::string::npos, part);
}

TEST_CASE("the meter agrees, contradicts or proves nothing: true, false, null") {
    const std::string bytes = to_json(sample_record(), ".");
    CHECK(std::regex_search(bytes, std::regex(R"("hole": "H1",\s*"agrees": false)")));
    CHECK(std::regex_search(bytes, std::regex(R"("hole": "H2",\s*"agrees": null)")));
    CHECK(std::regex_search(bytes, std::regex(R"("hole": "H3",\s*"agrees": true)")));
}

TEST_CASE("a source is named from the results folder, never by an absolute path") {
    BoardRecord record = sample_record();
    record.sources[0].file = "/data/case/pictures/a.tif";
    CHECK(to_json(record, "/data/case/out").find("\"file\": \"../pictures/a.tif\"") != std::string::npos);
    CHECK(to_json(record, "/data/case/out/").find("\"file\": \"../pictures/a.tif\"") != std::string::npos);
    CHECK(to_json(record, "/data/case").find("\"file\": \"pictures/a.tif\"") != std::string::npos);
    // With nothing in common the relative path would be the absolute one behind some dots.
    CHECK(to_json(record, "/elsewhere/case/out").find("\"file\": \"a.tif\"") != std::string::npos);
}

TEST_CASE("a locale with a decimal comma changes no byte") {
    const std::string plain = to_json(sample_record(), ".");
    const char* set = std::setlocale(LC_ALL, "de_DE.UTF-8");
    if (set == nullptr) MESSAGE("no German locale here: only the C locale was tried");
    CHECK(to_json(sample_record(), ".") == plain);
    CHECK(to_csv(from_json(plain)).find("101.25") != std::string::npos);
    std::setlocale(LC_ALL, "C");
}

TEST_CASE("anything that is no results file is refused, and the key is named") {
    const std::string good = to_json(sample_record(), ".");
    const auto error_of = [](const std::string& bytes) -> std::string {
        try {
            (void)from_json(bytes);
        } catch (const Error& error) {
            CHECK(error.fault() == Fault::input);
            return error.what();
        }
        return "accepted";
    };
    const auto changed = [&](const std::string& from, const std::string& to) {
        std::string bytes = good;
        const auto at = bytes.find(from);
        REQUIRE(at != std::string::npos);
        return bytes.replace(at, from.size(), to);
    };
    CHECK(error_of("") == "results file: no JSON");
    CHECK(error_of(good.substr(0, good.size() / 2)) == "results file: no JSON");
    CHECK(error_of("[]") == "results file, key : expected an object, got []");
    CHECK(error_of("{}") == "results file, key schema: missing");
    CHECK(error_of(changed("\"schema\": 1", "\"schema\": 2")) ==
          "results file, key schema: expected 1, got 2");
    CHECK(error_of(changed("\"name\": \"ringwall\"", "\"name\": \"other\"")) ==
          "results file, key program.name: expected \"ringwall\", got \"other\"");
    CHECK(error_of(changed("\"kind\": \"via\"", "\"kind\": \"door\"")) ==
          "results file, key holes[1].kind: expected one of hole, via, slot, filled, got \"door\"");
    CHECK(error_of(changed("\"x_px\": 101.25", "\"x_px\": \"101.25\"")) ==
          "results file, key holes[0].x_px: expected a number, got \"101.25\"");
    CHECK(error_of(changed("\"value\": 3.3, \"u\": 0.034", "\"value\": 3.3, \"u\": -1"))
              .find("holes[0].bore_mm") != std::string::npos);
}

TEST_CASE("cutting or changing any byte never crashes the reader") {
    const std::string good = to_json(sample_record(), ".");
    int accepted = 0;
    for (std::size_t i = 0; i < good.size(); i += 7) {
        std::string bytes = good;
        bytes[i] = static_cast<char>("0{}[]\",:x-"[i % 10]);
        try {
            (void)from_json(bytes);
            ++accepted;
        } catch (const Error&) {
        }
    }
    CHECK(accepted > 0); // letters inside texts may change
}

TEST_CASE("holes.csv: one hole a row, units in the header, empty where there is no value") {
    BoardRecord record = sample_record();
    record.holes[1].bore_mm = Estimate::missing("hidden");
    const std::string csv = to_csv(record);
    std::vector<std::string> lines;
    for (std::size_t at = 0; at < csv.size();) {
        const auto end = csv.find('\n', at);
        lines.push_back(csv.substr(at, end - at));
        at = end + 1;
    }
    REQUIRE(lines.size() == 3);
    const auto fields = [](const std::string& line) {
        std::vector<std::string> list(1);
        for (const char c : line) {
            if (c == ',')
                list.emplace_back();
            else
                list.back() += c;
        }
        return list;
    };
    const auto header = fields(lines[0]), first = fields(lines[1]), second = fields(lines[2]);
    REQUIRE(first.size() == header.size());
    REQUIRE(second.size() == header.size());
    const auto column = [&](const std::string& name) {
        const auto at = std::find(header.begin(), header.end(), name);
        REQUIRE(at != header.end());
        return static_cast<std::size_t>(at - header.begin());
    };
    CHECK(first[column("id")] == "H1");
    CHECK(first[column("bore_mm")] == "3.3");
    CHECK(first[column("u_bore_mm")] == "0.034");
    CHECK(second[column("bore_mm")] == "");
    CHECK(first[column("keepout")] == "touching");
    CHECK(first[column("wall_um")] == "25");
    CHECK(first[column("screw")] == "M3");
    CHECK(first[column("finding")] == "too_close");
    CHECK(first[column("finding_why")] == "nearer than asked for");
    CHECK(first[column("contact_margin_mm")] == "0.31");
    CHECK(first[column("u_contact_margin_mm")] == "0.01");
    CHECK(first[column("margin_mm")] == "-0.29");
    CHECK(first[column("u_margin_mm")] == "0.011");
    CHECK(first[column("margin_low_mm")] == "-0.31");
    CHECK(first[column("required_mm")] == "0.6");
    CHECK(second[column("finding")] == "");
    CHECK(second[column("finding_why")] == "a screw is judged in holes only");
}

TEST_CASE("holes.csv: reasons at the end, in quotes where they hold a comma; no exponents") {
    BoardRecord record = sample_record();
    record.holes.resize(1);
    HoleRecord& hole = record.holes[0];
    hole.bore_px = Estimate::missing("metal fills the hole");
    hole.wall.why = "dark, but not \"plated\"";
    hole.keepout.why = "hidden";
    hole.roundness_mm = Estimate::of(0, 5e-4);
    hole.x_px = 1e7;
    const std::string csv = to_csv(record);
    const auto header_end = csv.find('\n');
    CHECK(
        csv.substr(0, header_end)
            .ends_with(",bore_why,wall_why,keepout_why,name,screw,finding,finding_why,contact_margin_mm,"
                       "u_contact_margin_mm,margin_mm,u_margin_mm,margin_low_mm,required_mm,"
                       "cutting_margin_mm,u_cutting_margin_mm,space_left_mm,u_space_left_mm,space_left_of"));
    const std::string row = csv.substr(header_end + 1);
    CHECK(
        row.find(",metal fills the hole,\"dark, but not \"\"plated\"\"\",hidden,\"top \"\"left\"\"\",M3,") !=
        std::string::npos);
    CHECK(row.find(",0,0.0005,") != std::string::npos);
    CHECK(row.find(",10000000,") != std::string::npos);
    CHECK_FALSE(std::regex_search(row, std::regex("[0-9]e[-+0-9]")));
}
