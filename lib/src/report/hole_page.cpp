// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"
#include "record/names.hpp"
#include "record/position.hpp"
#include "report/model.hpp"
#include "report/words.hpp"

#include <algorithm>
#include <array>

namespace ringwall::report {
namespace {

using Rows = std::vector<std::vector<std::string>>;

struct QuantityName {
    const char* key;
    const char* name;
};
constexpr std::array quantities{QuantityName{"bore", "bore"},
                                QuantityName{"inscribed", "largest round pin that passes"},
                                QuantityName{"drill", "drill diameter"},
                                QuantityName{"roundness", "roundness"},
                                QuantityName{"furthest_void", "furthest void"},
                                QuantityName{"excess", "out of round by"},
                                QuantityName{"wall_thickness", "plating"},
                                QuantityName{"thickness", "plating"},
                                QuantityName{"copper_integrated", "plating, by its total"},
                                QuantityName{"keepout_min", "copper-free ring, narrowest"},
                                QuantityName{"keepout_mean", "copper-free ring, mean"},
                                QuantityName{"contact_margin", "space left to contact"},
                                QuantityName{"margin", "space left"},
                                QuantityName{"cutting_margin", "space left, thread cut in"}};

/// "keepout_min_mm": "copper-free ring, narrowest" and "mm".
std::pair<std::string, std::string> split_quantity(const std::string& quantity) {
    const auto cut = quantity.rfind('_');
    const std::string key = quantity.substr(0, cut);
    const std::string unit = cut == std::string::npos ? "" : quantity.substr(cut + 1);
    for (const auto& known : quantities)
        if (key == known.key) return {known.name, unit};
    std::string words = key;
    std::replace(words.begin(), words.end(), '_', ' ');
    return {words, unit};
}

/// The component with the largest share of a quantity's variance.
std::string limited_by(const HoleRecord& hole, const std::string& quantity) {
    const BudgetLine* most = nullptr;
    for (const auto& line : hole.budget)
        if (line.quantity == quantity && (most == nullptr || line.share > most->share)) most = &line;
    return most == nullptr ? "" : most->component + " (" + percent(rounded(most->share, 2)) + ")";
}

void add(Rows& rows, const HoleRecord& hole, const std::string& name, const std::string& value,
         const std::string& quantity = {}) {
    std::string limit = quantity.empty() ? "" : limited_by(hole, quantity + "_mm");
    if (limit.empty() && !quantity.empty()) limit = limited_by(hole, quantity + "_px");
    rows.push_back({name, value, limit});
}

/// A stack's wall has depths: the share is of the whole wall, and plating may be interrupted all round.
std::string stack_wall_words(const HoleRecord& hole) {
    const WallRecord& wall = hole.wall;
    std::string text;
    if (!hole.stack->breaks.empty())
        text += ": the plating is interrupted round the whole turn at a depth of " + break_words(*hole.stack);
    if (wall.covered_fraction && wall.state != WallState::bare)
        text +=
            ", copper over " + percent(rounded(*wall.covered_fraction, 3)) + " of the wall, turn by depth";
    if (!wall.missing_arcs_deg.empty() && hole.stack->breaks.empty())
        text += ", missing at some depth from " + arcs(wall.missing_arcs_deg);
    return text;
}

std::string wall_words(const HoleRecord& hole) {
    const WallRecord& wall = hole.wall;
    std::string text = word(wall.state);
    if (wall.state == WallState::undecided && !wall.why.empty()) text += ": " + wall.why;
    if (hole.stack) return text + stack_wall_words(hole);
    if (wall.covered_fraction && wall.state != WallState::bare)
        text += ", copper over " + percent(*wall.covered_fraction) + " of the turn seen";
    if (!wall.missing_arcs_deg.empty()) text += ", missing from " + arcs(wall.missing_arcs_deg);
    return text;
}

std::string shape_words(const ShapeRecord& shape) {
    if (shape.state == HoleShape::undecided) return "undecided";
    if (shape.state == HoleShape::round) return "round, as far as the noise lets one see";
    const std::string where = shape.arcs_deg.empty() ? "" : ", at " + arcs(shape.arcs_deg);
    return "out of round (measured; its cause is not)" + where;
}

std::string ring_words(const KeepOutRecord& keepout) {
    switch (keepout.state) {
    case KeepOutState::ring_seen:
        return "copper-free ring (antipad) seen";
    case KeepOutState::touching: {
        std::string text = "copper at the bare wall, at " + arcs(keepout.touching_arcs_deg);
        if (keepout.largest_gap_not_excluded_mm)
            text += "; no gap of " + mm(*keepout.largest_gap_not_excluded_mm) + " or more";
        return text;
    }
    case KeepOutState::runs_on:
        return "own copper runs on into a plane, at " + arcs(keepout.runs_on_arcs_deg) +
               "; right for a grounded mount, and only the meter can say that it is not a supply";
    case KeepOutState::none_in_view:
        return "no copper in view" +
               (keepout.searched_to_mm ? " up to " + mm(*keepout.searched_to_mm) + " from the wall" : "");
    case KeepOutState::undecided:
        return "undecided" + (keepout.why.empty() ? "" : ": " + keepout.why);
    }
    return {};
}

void add_hole_rows(Rows& rows, const HoleRecord& hole) {
    add(rows, hole, "bore, diameter", mm_or_px(hole.bore_mm, hole.bore_px), "bore");
    add(rows, hole, "drill, diameter (outside of the plating)", mm_or_px(hole.drill_mm, hole.drill_px),
        "drill");
    if (hole.inscribed_mm)
        add(rows, hole, "largest round pin that passes", with_unit(hole.inscribed_mm, "mm"), "inscribed");
    if (hole.roundness_mm)
        add(rows, hole, "roundness, peak to valley", with_unit(hole.roundness_mm, "mm"), "roundness");
    if (hole.furthest_void_mm)
        add(rows, hole, "furthest void, radius", with_unit(hole.furthest_void_mm, "mm"), "furthest_void");
    add(rows, hole, "shape", shape_words(hole.shape));
    if (hole.shape.excess_mm)
        add(rows, hole, "out of round by", with_unit(hole.shape.excess_mm, "mm"), "excess");
    add(rows, hole, "wall", wall_words(hole));
    if (hole.wall.thickness_um)
        add(rows, hole, "plating, thickness", with_unit(hole.wall.thickness_um, "µm"), "wall_thickness");
    if (hole.seen_fraction < 0.9995)
        add(rows, hole, "seen part of the turn", percent(rounded(hole.seen_fraction, 3)));
}

void add_ring_rows(Rows& rows, const HoleRecord& hole) {
    const KeepOutRecord& keepout = hole.keepout;
    add(rows, hole, "copper round it", ring_words(keepout));
    if (keepout.min_mm || keepout.min_px) {
        const std::string where = keepout.min_angle_deg ? ", at " + degrees(*keepout.min_angle_deg) : "";
        add(rows, hole, "copper-free ring, narrowest", mm_or_px(keepout.min_mm, keepout.min_px) + where,
            "keepout_min");
    }
    if (keepout.own_outer_mm && *keepout.own_outer_mm > 0)
        add(rows, hole, "own copper reaches out to, radius", mm(*keepout.own_outer_mm));
}

void add_screw_rows(Rows& rows, const BoardRecord& record, const HoleRecord& hole) {
    if (!hole.screw) return;
    const ScrewFit& fit = *hole.screw;
    const bool cuts = fit.engagement == Engagement::cuts;
    if (record.screw) add(rows, hole, "screw, major diameter", mm(record.screw->major_mm));
    const std::string no_scale = "not known without a scale";
    add(rows, hole, "the screw", !fit.engagement ? no_scale : (cuts ? "cuts into the wall" : "runs free"));
    add(rows, hole, "reach of its metal from the centre, resting", mm(fit.resting_reach_mm, no_scale));
    add(rows, hole, "reach, thread cut in", mm(fit.cutting_reach_mm, no_scale));
    add(rows, hole, "spacing chosen", mm(fit.required_mm, "none: no gap can be found without one"));
    add(rows, hole, "space left to contact, resting", with_unit(fit.contact_margin_mm, "mm"),
        "contact_margin");
    add(rows, hole, "space left, resting", with_unit(fit.margin_mm, "mm"), "margin");
    add(rows, hole, cuts ? "space left, thread cut in" : "space left, if the thread cut in all the same",
        with_unit(fit.cutting_margin_mm, "mm"), "cutting_margin");
    if (fit.margin_low_mm)
        add(rows, hole, "space left: least value at " + percent(record.confidence) + ", one-sided",
            mm(*fit.margin_low_mm));
}

/// Unit that a quantity's parts are shown in: small parts of a millimetre read badly.
std::string budget_unit(const std::string& unit) {
    if (unit == "mm" || unit == "um") return "µm";
    return unit == "mm2" ? "mm²" : unit;
}

/// Two digits, but nothing finer than a tenth: nobody needs a nanometre.
std::string small_part(double value, const std::string& unit) {
    if (value < 0.05) return "<0.1 " + unit;
    return (value < 1 ? fixed(value, 1) : plain(rounded(value, 2))) + " " + unit;
}

std::string budget_cell(const HoleRecord& hole, const std::string& quantity, const std::string& component) {
    const std::string unit = split_quantity(quantity).second;
    for (const auto& line : hole.budget) {
        if (line.quantity != quantity || line.component != component) continue;
        const std::string shown = budget_unit(unit);
        if (shown == "µm") return small_part(line.u * (unit == "mm" ? 1000 : 1), shown);
        return plain(rounded(line.u, 2)) + " " + shown;
    }
    return "–";
}

void once(std::vector<std::string>& list, const std::string& text) {
    if (std::find(list.begin(), list.end(), text) == list.end()) list.push_back(text);
}

/// The part of the budget that is shown in one unit: quantities down, components across.
Table budget_of(const HoleRecord& hole, const std::string& unit) {
    std::vector<std::string> components, names;
    for (const auto& line : hole.budget) {
        if (budget_unit(split_quantity(line.quantity).second) != unit) continue;
        once(components, line.component);
        once(names, line.quantity);
    }
    Table table{"Uncertainty budget, standard uncertainty u (k = 1) in " + unit, {"Quantity"}, {}};
    table.head.insert(table.head.end(), components.begin(), components.end());
    for (const auto& name : names) {
        std::vector<std::string> row{split_quantity(name).first};
        for (const auto& component : components)
            row.push_back(budget_cell(hole, name, component));
        table.rows.push_back(row);
    }
    return table;
}

std::vector<Table> budget_tables(const HoleRecord& hole) {
    std::vector<std::string> units;
    for (const auto& line : hole.budget)
        once(units, budget_unit(split_quantity(line.quantity).second));
    std::vector<Table> tables;
    for (const auto& unit : units) {
        const bool again = unit == "px" && units.size() > 1; // the same, before the scale
        if (!again) tables.push_back(budget_of(hole, unit));
    }
    return tables;
}

/// "head: its diameter is not given".
std::vector<std::string> row_not_judged(const std::string& path) {
    const auto cut = path.find(": ");
    const std::string why = cut == std::string::npos ? "" : path.substr(cut);
    return {path.substr(0, cut), "", "", "", "", "not judged" + why};
}

/// The thread once more, cut into the wall: the finding of a screw that cuts goes by both.
std::vector<std::string> cut_in_row(const ScrewFit& fit, const MetalPath& thread, const std::string& against,
                                    const std::string& finding) {
    const double deeper_mm = fit.cutting_reach_mm.value() - fit.resting_reach_mm.value();
    return {"thread, cut into the wall",
            against,
            mm(thread.reach_mm + deeper_mm),
            with_unit(contact_margin_cut_in_mm(fit, thread), "mm"),
            with_unit(thread.cutting_margin_mm, "mm"),
            finding};
}

Table paths_table(const BoardRecord& record, const HoleRecord& hole) {
    const ScrewFit& fit = *hole.screw;
    Table table{"Metal paths: which were judged, and which were not",
                {"Path", "Against", "Reach", "Space left to contact", "Space left", "Finding"},
                {}};
    const bool cuts = fit.engagement == Engagement::cuts;
    for (const auto& path : fit.paths) {
        const std::string layer = path.layer ? "layer " + std::to_string(*path.layer) : "layer unknown";
        const std::string plane = path.plane ? ", " + std::to_string(*path.plane) +
                                                   (*path.plane > 1 ? " foils or more" : " foil or more")
                                             : "";
        const std::string why = path.why.empty() ? "" : " (" + path.why + ")";
        const bool thread = path.part == "thread";
        const std::string finding = finding_words(path.finding, record.rule) + why;
        table.rows.push_back({path_name(path) + (thread && cuts ? ", resting on the wall" : ""),
                              layer + plane, mm(path.reach_mm), with_unit(path.contact_margin_mm, "mm"),
                              with_unit(path.margin_mm, "mm"),
                              thread && cuts ? "see the next line" : finding});
        if (thread && cuts) table.rows.push_back(cut_in_row(fit, path, layer + plane, finding));
    }
    for (const auto& path : fit.not_judged)
        table.rows.push_back(row_not_judged(path));
    return table;
}

Table alternatives_table(const BoardRecord& record, const ScrewFit& fit) {
    Table table{"What would change this finding", {"If", "Space left", "Finding"}, {}};
    for (const auto& other : fit.alternatives) {
        const bool same = other.finding == fit.finding;
        table.rows.push_back({other.what, with_unit(other.margin_mm, "mm"),
                              same ? "the same" : finding_words(other.finding, record.rule)});
    }
    return table;
}

Table meter_table(const BoardRecord& record, const HoleRecord& hole) {
    Table table{"Meter and picture", {"Meter", "Why", "Log lines"}, {}};
    for (const auto& agreement : record.meter) {
        if (agreement.hole != hole.id) continue;
        std::string lines;
        for (const int line : agreement.lines)
            lines += (lines.empty() ? "" : ", ") + std::to_string(line);
        using Says = MeterAgreement::Says;
        const std::string says = agreement.says == Says::agrees        ? "agrees"
                                 : agreement.says == Says::contradicts ? "CONTRADICTS the picture"
                                 : agreement.contact_proven            ? "the picture cannot say"
                                                                       : "proves nothing";
        table.rows.push_back(
            {agreement.contact_proven ? "CONTACT PROVEN; " + says : says, agreement.why, lines});
    }
    return table;
}

std::vector<std::string> notes_of(const BoardRecord& record, const HoleRecord& hole) {
    std::vector<std::string> notes;
    if (hole.added_by_person)
        notes.emplace_back("This hole was added by a person; the program did not find it.");
    for (const auto& decision : record.decisions)
        if (decision.after_result && decision.act == Decision::Act::set_scale)
            notes.emplace_back("The scale was set by a person after a first result was known.");
    if (hole.stack && !hole.stack->breaks.empty())
        notes.push_back(
            "The plating is interrupted round the whole turn at a depth of " + break_words(*hole.stack) +
            ": no plating was seen there that would join the layers above and below; whether they "
            "are joined only a meter can say.");
    if (!hole.screw) return notes;
    const ScrewFit& fit = *hole.screw;
    if (!fit.why.empty()) notes.push_back("Why: " + stopped(fit.why));
    for (const auto& sentence : fit.forbids_gap)
        if (fit.why.find(sentence) == std::string::npos) // said just now
            notes.push_back("No gap can be found here: " + stopped(sentence));
    if (!fit.would_decide.empty()) notes.push_back("What would decide it: " + stopped(fit.would_decide));
    return notes;
}

} // namespace

HoleTables hole_tables(const BoardRecord& record, const HoleRecord& hole) {
    HoleTables tables;
    tables.numbers = {
        "Numbers, ± U (k = 2), and what limits them", {"Quantity", "Value", "Mostly from (share of u²)"}, {}};
    add_hole_rows(tables.numbers.rows, hole);
    add_ring_rows(tables.numbers.rows, hole);
    add_screw_rows(tables.numbers.rows, record, hole);
    tables.budget = budget_tables(hole);
    if (hole.screw) {
        tables.paths = paths_table(record, hole);
        tables.alternatives = alternatives_table(record, *hole.screw);
    }
    tables.meter = meter_table(record, hole);
    tables.notes = notes_of(record, hole);
    return tables;
}

} // namespace ringwall::report
