// SPDX-License-Identifier: Apache-2.0
#include "core/sample_size.hpp"
#include "core/text.hpp"
#include "meter/setup.hpp"
#include "record/names.hpp"
#include "report/model.hpp"
#include "report/words.hpp"

#include <algorithm>
#include <array>
#include <filesystem>
#include <optional>

namespace ringwall::report {
namespace {

std::string file_name(const std::string& file) {
    return std::filesystem::path(file).filename().string();
}

std::string number(const std::optional<double>& value, const std::string& unit) {
    return value ? plain(*value) + " " + unit : "";
}

/// "a: b, c: d", the empty ones left out.
std::string joined(const std::vector<std::pair<std::string, std::string>>& parts) {
    std::string text;
    for (const auto& [name, value] : parts)
        if (!value.empty()) text += (text.empty() ? "" : "; ") + (name.empty() ? value : name + " " + value);
    return text;
}

std::string joint(Joint joint) {
    return joint == Joint::open ? "open" : "joined";
}

std::string behaviour(ReadingBehaviour behaviour) {
    switch (behaviour) {
    case ReadingBehaviour::steady:
        return "steady";
    case ReadingBehaviour::rising:
        return "low, then rising";
    case ReadingBehaviour::falling:
        return "falling";
    case ReadingBehaviour::unknown:
        return "";
    }
    return {};
}

Table log_table(const BoardRecord& record) {
    Table table{
        "Continuity log", {"Line", "From", "To", "Expected", "Read", "Set-up", "Meter, when, by, note"}, {}};
    for (const auto& row : record.continuity) {
        const std::string read = joined({{"", joint(row.reading)},
                                         {"", number(row.ohms, "Ω")},
                                         {"", behaviour(row.behaviour)},
                                         {"polarity", row.polarity}});
        const std::string by = joined({{"", row.meter},
                                       {"calibrated", row.calibrated_on},
                                       {"leads", number(row.lead_ohms, "Ω")},
                                       {"", row.when},
                                       {"by", row.by},
                                       {"", row.note}});
        table.rows.push_back({std::to_string(row.line), row.a, row.b,
                              row.expect ? joint(*row.expect) : "not said", read, row.setup, by});
    }
    return table;
}

Table agreement_table(const BoardRecord& record) {
    Table table{"Meter beside picture, hole by hole", {"Hole", "Meter", "Why"}, {}};
    for (const auto& agreement : record.meter) {
        using Says = MeterAgreement::Says;
        std::string says = agreement.says == Says::agrees        ? "agrees with the picture"
                           : agreement.says == Says::contradicts ? "CONTRADICTS the picture"
                           : agreement.contact_proven            ? "the picture cannot say"
                                                                 : "proves nothing";
        if (agreement.contact_proven) says = "CONTACT PROVEN; " + says;
        table.rows.push_back({agreement.hole, says, agreement.why});
    }
    return table;
}

Section meter_section(const BoardRecord& record) {
    Section section{"Meter readings", {}, {}, {}, ""};
    if (record.continuity.empty()) {
        section.paragraphs.emplace_back(
            "No continuity log was given. Which copper is live, and whether a wall or a screw is joined to "
            "it, was therefore not looked at with a meter.");
        return section;
    }
    for (const auto& agreement : record.meter)
        if (agreement.says == MeterAgreement::Says::contradicts || agreement.contact_proven)
            section.shout += "Hole " + agreement.hole + ": " + stopped(agreement.why) + " ";
    section.paragraphs = record.meter_notes;
    section.tables = {agreement_table(record), log_table(record)};
    section.points = {
        "A bare hole without a screw that reads open proves nothing: the probe may rest on laminate.",
        "A fitted screw that reads open was not in contact at that moment; that is no clearance.",
        "On an assembled board a joined reading may go through a part; low and then rising is a capacitor "
        "that charges."}; // what a two-wire meter cannot prove stands among the meter's own notes
    return section;
}

Section hand_section(const BoardRecord& record) {
    Section section{"Measured by hand, beside the picture", {}, {}, {}, ""};
    if (record.measured.empty()) {
        section.paragraphs.emplace_back("No length was measured by hand.");
        return section;
    }
    Table table{
        "", {"What", "Where", "By hand, ± U (k = 2)", "With", "Picture, ± U (k = 2)", "Together"}, {}};
    for (const auto& hand : record.measured) {
        const std::string own = hand.u_mm ? with_unit(Estimate::of(hand.value_mm, *hand.u_mm), "mm")
                                          : mm(hand.value_mm) + ", U not stated";
        const std::string picture =
            !hand.picture_mm
                ? "no value"
                : (hand.picture_u_mm ? with_unit(Estimate::of(*hand.picture_mm, *hand.picture_u_mm), "mm")
                                     : mm(*hand.picture_mm));
        const std::string verdict =
            !hand.agrees ? "" : (*hand.agrees ? "agree: " : "CONTRADICT each other: ");
        const std::string together = verdict + (hand.why.empty() ? "cannot be told" : hand.why);
        table.rows.push_back({spaced(hand.what), hand.where.empty() ? "board" : hand.where, own, hand.with,
                              picture, together});
        if (hand.agrees && !*hand.agrees)
            section.shout += spaced(hand.what) + (hand.where.empty() ? "" : ", " + hand.where) +
                             ": hand and " + (of_the_screw(hand) ? "the screw that was judged" : "picture") +
                             " contradict each other. ";
    }
    section.tables.push_back(table);
    section.paragraphs.emplace_back(
        "Agree: the difference is within twice the combined standard uncertainty.");
    return section;
}

/// Of a picture's own beam: a reconstruction has none.
void exposure_rows(const SourceRecord& source, Table& table) {
    table.rows.push_back({"noise", source.noise_photons ? shortest(rounded(*source.noise_photons, 3)) +
                                                              " equivalent photons a pixel in the open beam"
                                                        : "not known"});
    table.rows.push_back({"saturated pixels", percent(source.saturated_fraction)});
}

Table checks_table(const SourceRecord& source) {
    const bool stack = source.shot == Shot::stack;
    Table table{(stack ? "Slice stack " : "Picture ") + file_name(source.file), {"Check", "Found"}, {}};
    const auto row = [&](const std::string& name, const std::string& value) {
        table.rows.push_back({name, value});
    };
    const std::string slices = source.slices > 1 ? ", " + std::to_string(source.slices) + " slices" : "";
    row("size", std::to_string(source.width_px) + " px × " + std::to_string(source.height_px) + " px" +
                    slices + ", " + std::to_string(source.bits) + " bits");
    row("grey scale", word(source.radiometry) + ", dense material " + word(source.dense) +
                          (stack ? "" : ", side towards the source: " + source.side_to_source));
    row(stack ? "voxel, width in a slice" : "pixel at the board",
        with_unit(source.pixel_mm.scaled(1000), "µm") +
            (source.pixel_mm ? " (" + source.pixel_mm_from + ")" : ""));
    if (source.geometry) row("source to board's mid-plane", mm(source.geometry->source_to_board_mm));
    row("blur, sigma", with_unit(source.blur_sigma_px, "px"));
    if (!stack) exposure_rows(source, table);
    row("thinnest copper sure to have shown (95 %)",
        source.smallest_foil_seen_um ? shortest(rounded(*source.smallest_foil_seen_um, 3)) + " µm"
                                     : "not known for this " + std::string(stack ? "stack" : "picture"));
    return table;
}

std::string taken_words(const PictureNotes& notes) {
    return joined(
        {{"taken by", notes.taken_by},
         {"on", notes.taken_on},
         {"cabinet calibrated", notes.cabinet_calibrated},
         {"", number(notes.kv, "kV")},
         {"", number(notes.ua, "µA")},
         {"filter", notes.filter},
         {"frames", notes.frames ? plain(*notes.frames) : ""},
         {"processing", notes.processing},
         {"fitted:", notes.fitted},
         {"after", notes.cycles ? counted(static_cast<std::size_t>(*notes.cycles), "screw cycle") : ""},
         {"repeat of", notes.repeat_of}});
}

Section picture_section(const BoardRecord& record) {
    Section section{is_stack(record) ? "Slice stack: how it was made, and the checks on it"
                                     : "Pictures: how they were made, and the checks on them",
                    {},
                    {},
                    {},
                    ""};
    if (record.sources.empty()) section.paragraphs.emplace_back("No picture was read.");
    for (const auto& source : record.sources) {
        section.tables.push_back(checks_table(source));
        for (const auto& warning : source.warnings)
            section.points.push_back(file_name(source.file) + ": " + stopped(warning));
    }
    for (const auto& notes : record.picture_notes) {
        const std::string words = taken_words(notes);
        section.paragraphs.push_back(file_name(notes.file) + ": " +
                                     (words.empty()
                                          ? (record.left_out.empty() ? "nobody said how it was taken"
                                                                     : "what was said of it was left out")
                                          : words) +
                                     ".");
    }
    return section;
}

/// A unit fails when its screw can touch copper; with none doing so, it passes only where every judged hole
/// shows its gap. Anything else counts for neither.
std::optional<int> failing_units(const BoardRecord& record) {
    int judged = 0, shown = 0;
    for (const auto& hole : record.holes) {
        if (!hole.screw) continue;
        if (hole.screw->finding == Finding::reaches) return 1;
        ++judged;
        if (hole.screw->finding == Finding::gap_shown) ++shown;
    }
    return judged > 0 && shown == judged ? std::optional(0) : std::nullopt;
}

Section sample_section(const BoardRecord& record) {
    Section section{"What one unit can show", {}, {}, {}, ""};
    const auto failing = failing_units(record);
    section.paragraphs.emplace_back(
        "This report is about one unit, and what a unit shows, it shows of itself. It is counted as failing "
        "when the screw can touch copper, in the position drawn, in one of its holes, and as not failing "
        "when a "
        "gap is shown in every hole judged.");
    if (failing) {
        section.paragraphs.push_back(
            sample_statement(1, *failing, record.intake.chosen, record.confidence, record.intake.lot_size)
                .sentence);
    } else {
        section.paragraphs.emplace_back("This unit is neither: it supports no share of other units with this "
                                        "fault, neither high nor low.");
    }
    section.paragraphs.emplace_back(
        "To bring the share of failing units below 5 % (95 % confidence), 59 units drawn at random from one "
        "large lot, none failing, are needed: 1 − 0.05^(1/59) = 4.95 %.");
    return section;
}

bool has(const std::vector<std::string>& list, const std::string& text) {
    return std::find(list.begin(), list.end(), text) != list.end();
}

/// The day of a time as persons write it, "2026-04-06 14:30"; empty: it does not begin with one.
std::string day_of(const std::string& when) {
    constexpr std::string_view shape = "dddd-dd-dd";
    if (when.size() < shape.size()) return {};
    for (std::size_t i = 0; i < shape.size(); ++i)
        if (shape[i] == 'd' ? when[i] < '0' || when[i] > '9' : when[i] != '-') return {};
    return when.substr(0, shape.size());
}

/// What the stated days and seals say against the rule.
std::vector<std::string> out_of_order(const BoardRecord& record) {
    std::vector<std::string> sentences;
    for (const auto& notes : record.picture_notes) {
        const std::string taken = day_of(notes.taken_on);
        for (const auto& row : record.continuity) {
            const std::string read = day_of(row.when);
            if (taken.empty() || read.empty() || read >= taken || !says_screw_fitted(row)) continue;
            sentences.push_back("Line " + std::to_string(row.line) +
                                " of the meter log was read with a screw fitted on " + read + ", before " +
                                file_name(notes.file) + " was taken on " + taken +
                                ": what the picture shows may be the work of that screw.");
        }
    }
    for (std::size_t i = 1; i < record.custody.size(); ++i) {
        const std::string &left = record.custody[i - 1].seal_after, &found = record.custody[i].seal_before;
        if (!left.empty() && !found.empty() && left != found)
            sentences.push_back("Custody, step " + std::to_string(i + 1) + ": seal \"" + found +
                                "\" was found, \"" + left + "\" was put on in the step before.");
    }
    return sentences;
}

Section custody_section(const BoardRecord& record) {
    Section section{"Custody and intake", {}, {}, {}, ""};
    const std::string intake =
        joined({{"serial", record.intake.serial},
                {"lot", record.intake.lot},
                {"units in the lot", record.intake.lot_size ? std::to_string(*record.intake.lot_size) : ""},
                {"chosen:", record.intake.chosen}});
    section.paragraphs.push_back(unit_of(record) + ": " +
                                 (!intake.empty() ? intake
                                  : record.left_out.empty()
                                      ? "nothing was said of serial, lot and how it was chosen"
                                      : "what was said of serial and lot was left out") +
                                 ".");
    Table table{"From hand to hand", {"When", "From", "To", "Seal before", "Seal after", "Photographs"}, {}};
    for (const auto& step : record.custody)
        table.rows.push_back(
            {step.when, step.from, step.to, step.seal_before, step.seal_after, step.photographs});
    if (table.rows.empty())
        section.paragraphs.emplace_back(
            has(record.left_out, "evidence.custody") ? "Custody was left out." : "No custody was recorded.");
    else
        section.tables.push_back(table);
    section.paragraphs.emplace_back(
        "As a rule, evidence is to be photographed, metered and X-rayed before any screw is turned, and the "
        "parties told before any step that alters it (ASTM E860, E1188; from memory). This report does not "
        "check that it was so, beyond what follows.");
    for (const std::string& sentence : out_of_order(record))
        section.points.push_back(sentence);
    if (!record.left_out.empty()) {
        std::string list;
        for (const auto& key : record.left_out)
            list += (list.empty() ? "" : ", ") + key;
        section.paragraphs.push_back(
            "Left out on request, because it is private: " + list +
            ". Text burned into a picture cannot be left out: look at the picture before "
            "you publish it.");
    }
    return section;
}

std::string decision_words(const Decision& decision) {
    const auto at = [](Point px) { return "x " + fixed(px.x, 1) + " px, y " + fixed(px.y, 1) + " px"; };
    switch (decision.act) {
    case Decision::Act::set_wall:
        return word(decision.act) + " to " + word(decision.wall) + " at " + at(decision.at_px);
    case Decision::Act::set_scale:
        return word(decision.act) + ": " + mm(decision.value) + " from " + at(decision.at_px) + " to " +
               at(decision.to_px);
    default:
        return word(decision.act) + " at " + at(decision.at_px);
    }
}

Section decision_section(const BoardRecord& record) {
    Section section{"Decisions made by a person", {}, {}, {}, ""};
    if (record.decisions.empty()) {
        section.paragraphs.emplace_back("None: every number is as the program measured it.");
        return section;
    }
    Table table{"", {"Decision", "Made", "Who", "When", "Why"}, {}};
    for (const auto& decision : record.decisions)
        table.rows.push_back(
            {decision_words(decision),
             decision.after_result ? "AFTER the first result was known" : "before any result", decision.who,
             decision.when, decision.why});
    section.tables.push_back(table);
    return section;
}

/// A JSON literal for a reader.
std::string option_value(const std::string& json) {
    if (json == "null") return "not given";
    if (json == "[]" || json == "{}") return "none";
    const bool quoted = json.size() > 1 && json.front() == '"' && json.back() == '"';
    return quoted ? json.substr(1, json.size() - 2) : json;
}

/// What required_mm, which goes before them, leaves of the other parts of a rule.
std::string not_used(const SpacingRule& rule, const std::string& option) {
    if (!rule.required_mm) return {};
    if (option == "spacing_row" && !rule.row.empty()) return " (not used: required_mm goes before it)";
    if (option == "voltage_peak" && rule.voltage_peak_v)
        return " (not used for the spacing: required_mm goes before it; it counts for the limit of 60 V DC, "
               "42.4 V peak AC)";
    return {};
}

/// Options that have no say in what an edge-on picture shows.
bool is_about_screws(const std::string& option) {
    constexpr std::array starts{"screw", "hole_screws", "head_",   "washer_",     "far_side",
                                "tilt",  "engagement",  "voltage", "spacing_row", "required_mm"};
    return std::any_of(starts.begin(), starts.end(),
                       [&](const char* start) { return option.starts_with(start); });
}

Section source_section(const BoardRecord& record) {
    Section section{"Sources, program and options", {}, {}, {}, ""};
    Table sources{"", {"File", "SHA-256"}, {}};
    for (const auto& source : record.sources)
        sources.rows.push_back({file_name(source.file), source.sha256});
    if (!sources.rows.empty()) section.tables.push_back(sources);
    std::string libraries;
    for (const auto& [name, version] : record.program.libraries)
        libraries += (libraries.empty() ? "" : ", ") + name + " " + version;
    section.paragraphs.push_back(record.program.name + " " + record.program.version + ", revision " +
                                 record.program.revision + (libraries.empty() ? "" : ", with " + libraries) +
                                 ".");
    if (record.screw && !record.screw->source.empty() && !is_edge_on_alone(record))
        section.paragraphs.push_back("Sizes of the screw: " + record.screw->source + ".");
    Table options{"Options in force", {"Option", "Value"}, {}};
    for (const auto& option : record.options)
        if (!is_edge_on_alone(record) || !is_about_screws(option.name))
            options.rows.push_back(
                {option.name, option_value(option.value_json) + not_used(record.rule, option.name)});
    if (!options.rows.empty()) section.tables.push_back(options);
    section.paragraphs.emplace_back("The same files, options and program version give the same numbers to "
                                    "the last digit. All of them stand in "
                                    "results.json.");
    return section;
}

} // namespace

std::vector<Section> evidence_sections(const BoardRecord& record) {
    const bool edge = is_edge_on_alone(record); // nothing is joined to a hole there, no screw can touch
    std::vector<Section> sections;
    if (!edge || !record.continuity.empty()) sections.push_back(meter_section(record));
    sections.push_back(hand_section(record));
    sections.push_back(picture_section(record));
    if (!edge) sections.push_back(sample_section(record));
    for (const auto& make : {custody_section, decision_section, source_section})
        sections.push_back(make(record));
    return sections;
}

} // namespace ringwall::report
