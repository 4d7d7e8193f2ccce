// SPDX-License-Identifier: Apache-2.0
#include "casefile/case_text.hpp"
#include "ringwall/error.hpp"

#include <algorithm>

namespace ringwall {
namespace {

const char* const screw_expected =
    "the screw's name in quotes (\"M3\", \"UNC6-32\"), or its major_mm and minor_mm";

void check_screw_sizes(const TomlTable& table, const CaseScrew& screw) {
    if (screw.name.empty() && !screw.major_mm) table.missing("name", screw_expected);
    if (screw.name.empty() && !screw.minor_mm)
        table.missing("minor_mm", "the smallest diameter between the threads, beside major_mm");
    if (screw.major_mm && screw.minor_mm && *screw.minor_mm > *screw.major_mm)
        table.fail("minor_mm", *table.find("minor_mm"), "a minor diameter not over major_mm");
    if (screw.washer_mm && screw.washer_bore_mm && *screw.washer_bore_mm >= *screw.washer_mm)
        table.fail("washer_bore_mm", *table.find("washer_bore_mm"), "a bore under washer_mm");
    if (screw.washer_bore_mm && !screw.washer_mm)
        table.missing("washer_mm", "the washer's diameter beside its bore");
}

CaseScrew screw_of(const CaseText& text, const TomlTable& table) {
    CaseScrew screw;
    screw.name = table.text_or_empty("name");
    screw.name_place = table.place("name");
    if (const auto own = table.text("table")) screw.table = text.beside(*own);
    screw.major_mm = table.number("major_mm", screw_limits_mm);
    screw.minor_mm = table.number("minor_mm", screw_limits_mm);
    screw.head_mm = table.number("head_mm", hardware_limits_mm);
    screw.washer_mm = table.number("washer_mm", hardware_limits_mm);
    screw.washer_bore_mm = table.number("washer_bore_mm", hardware_limits_mm);
    screw.major_place = table.place("major_mm");
    screw.minor_place = table.place("minor_mm");
    screw.head_place = table.place("head_mm");
    screw.washer_place = table.place("washer_mm");
    screw.washer_bore_place = table.place("washer_bore_mm");
    screw.tilt_deg = table.number("tilt_deg", tilt_limits_deg).value_or(0);
    Engagement engagement = Engagement::free;
    table.choice<Engagement>("engagement", {{"free", Engagement::free}, {"cuts", Engagement::cuts}},
                             engagement);
    if (table.find("engagement") != nullptr) screw.engagement = engagement;
    check_screw_sizes(table, screw);
    return screw;
}

void read_rule(const TomlTable& table, CaseFile& read) {
    SpacingRule& rule = read.rule;
    const auto place = [&](const char* key) {
        return table.find(key) == nullptr ? std::string() : table.place(key);
    };
    read.rule_places = {place("voltage_peak_v"), place("voltage_kind"), place("spacing_row")};
    rule.voltage_peak_v = table.number("voltage_peak_v", peak_limits_v);
    table.choice<VoltageKind>("voltage_kind", {{"dc", VoltageKind::dc}, {"ac", VoltageKind::ac}},
                              rule.voltage_kind);
    table.choice("spacing_row", {"B1", "B2", "B3", "B4", "A5", "A6", "A7"}, rule.row);
    rule.required_mm = table.number("required_mm", spacing_limits_mm);
    read.confidence = table.number("confidence", 0.5, 1, "a number between 0.5 and 1");
}

std::optional<Point> point(const TomlTable& table, const std::string& key, const std::string& expected) {
    const auto both = table.pair(key, -infinity, expected);
    return both ? std::optional(Point{(*both)[0], (*both)[1]}) : std::nullopt;
}

CasePlacedHole hole_of(const CaseText& text, const TomlTable& table, const CaseFile& read) {
    CasePlacedHole placed;
    CaseHole& hole = placed.hole;
    const std::string one_place = "a point [x, y] in the hole, as at_px or as at_mm";
    placed.picture = picture_index(text, table, read);
    hole.at_px = point(table, "at_px", one_place);
    hole.at_mm = point(table, "at_mm", one_place);
    if (!hole.at_px && !hole.at_mm) table.missing("at_px", one_place);
    if (hole.at_px && hole.at_mm) table.fail("at_mm", *table.find("at_mm"), "at_px or at_mm, not both");
    hole.name = table.text_or_empty("name");
    hole.purpose = table.text_or_empty("purpose");
    hole.screw_name = table.text_or_empty("screw");
    hole.no_screw = hole.screw_name == "none";
    if (hole.no_screw) hole.screw_name.clear();
    placed.screw_place = table.place("screw");
    return placed;
}

void read_holes(const CaseText& text, CaseFile& read) {
    for (const TomlTable& table : text.tables("hole")) {
        CasePlacedHole placed = hole_of(text, table, read);
        const bool twice = std::any_of(read.holes.begin(), read.holes.end(), [&](const auto& other) {
            return !placed.hole.name.empty() && other.picture == placed.picture &&
                   other.hole.name == placed.hole.name;
        });
        if (twice) table.fail("name", *table.find("name"), "a name that no other hole of the picture has");
        read.holes.push_back(std::move(placed));
    }
}

void read_layers(const CaseText& text, CaseFile& read) {
    const std::string number = "the layer's number, 1 or more, counted from the low-z face";
    for (const TomlTable& table : text.tables("layer")) {
        CaseLayer layer;
        const auto found = table.whole("number", 1, number);
        if (!found) table.missing("number", number);
        layer.number = *found;
        layer.role = "live";
        table.choice("role", {"live", "ground", "signal"}, layer.role);
        layer.evidence = table.text_or_empty("evidence");
        if (layer.role != "live" && layer.evidence.empty()) {
            read.warnings.push_back(
                text.place_in_words(table.table()) + "layer " + std::to_string(layer.number) +
                " is treated as live: no evidence is given that it is \"" + layer.role + "\"");
        }
        read.layers.push_back(std::move(layer));
    }
}

} // namespace

void read_assembly(const CaseText& text, CaseFile& read) {
    if (const auto table = text.one("screw")) read.screw = screw_of(text, *table);
    if (const auto table = text.one("far_side"))
        read.far_side_mm = table->number("outline_mm", hardware_limits_mm);
    if (const auto table = text.one("rule")) read_rule(*table, read);
    read_holes(text, read);
    read_layers(text, read);
}

} // namespace ringwall
