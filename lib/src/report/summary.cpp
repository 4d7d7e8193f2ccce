// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"
#include "record/position.hpp"
#include "report/model.hpp"
#include "report/report.hpp"
#include "report/words.hpp"

#include <algorithm>
#include <array>
#include <filesystem>

namespace ringwall {
namespace {

int rank(const BoardRecord& record, const HoleRecord& hole) {
    if (contact_proven(record, hole)) return -1;
    if (!hole.screw) return 4;
    switch (hole.screw->finding) {
    case Finding::reaches:
        return 0;
    case Finding::too_close:
        return 1;
    case Finding::undecided:
        return 2;
    case Finding::gap_shown:
        return 3;
    }
    return 4;
}

/// Without a number: before those that have one.
double left_for_order(const HoleRecord& hole) {
    return hole.screw ? space_left_mm(*hole.screw).value_or(-1e9) : 0;
}

} // namespace

std::vector<const HoleRecord*> worst_first(const BoardRecord& record) {
    std::vector<const HoleRecord*> holes;
    for (const auto& hole : record.holes)
        if (is_reported(record, hole)) holes.push_back(&hole);
    std::stable_sort(holes.begin(), holes.end(), [&](const HoleRecord* a, const HoleRecord* b) {
        if (rank(record, *a) != rank(record, *b)) return rank(record, *a) < rank(record, *b);
        return left_for_order(*a) < left_for_order(*b);
    });
    return holes;
}

namespace report {
namespace {

constexpr std::array findings{Finding::reaches, Finding::too_close, Finding::undecided, Finding::gap_shown};

std::size_t count_of(const std::vector<const HoleRecord*>& holes, Finding finding) {
    return static_cast<std::size_t>(std::count_if(holes.begin(), holes.end(), [&](const HoleRecord* hole) {
        return hole->screw && hole->screw->finding == finding;
    }));
}

std::size_t decided(const std::vector<const HoleRecord*>& holes) {
    return static_cast<std::size_t>(std::count_if(holes.begin(), holes.end(), [](const HoleRecord* hole) {
        return hole->screw && hole->screw->finding != Finding::undecided;
    }));
}

std::size_t judged(const std::vector<const HoleRecord*>& holes) {
    return static_cast<std::size_t>(std::count_if(
        holes.begin(), holes.end(), [](const HoleRecord* hole) { return hole->screw.has_value(); }));
}

std::string counts_sentence(const BoardRecord& record, const std::vector<const HoleRecord*>& holes) {
    std::string text = unit_of(record) + ": of " +
                       counted(holes.size() + record.holes_not_found.size(), "hole") +
                       " that this report is about, " + std::to_string(judged(holes)) +
                       (judged(holes) == 1 ? " was" : " were") + " judged.";
    for (const std::string& name : record.holes_not_found)
        text += " Hole " + name + " of the case was not found, and nothing was judged there.";
    for (const Finding finding : findings) {
        const std::size_t count = count_of(holes, finding);
        if (count > 0)
            text += " " + counted(count, "hole") + ": " + finding_words(finding, record.rule) + ".";
    }
    return text;
}

/// The risk of being wrong adds up over holes.
std::string risk_sentence(const BoardRecord& record, std::size_t holes) {
    const double risk = 1 - record.confidence, all = risk * static_cast<double>(holes);
    std::string each = "Each hole's finding is held to a risk of at most " + percent(risk) +
                       " of being wrong one way, and says nothing of the other holes.";
    if (holes < 2) return each;
    const double needed = 1 - risk / static_cast<double>(holes);
    return each + " One sentence about all " + std::to_string(holes) +
           " holes of this unit together can be wrong with up to " + percent(std::min(1.0, all)) +
           " (the risks add up). To hold such a sentence to " + percent(risk) +
           ", the risk is divided by the number of holes: every hole must be judged at " +
           shortest(rounded(100 * needed, 5)) + " %, which this report does not do.";
}

Table hole_table(const BoardRecord& record, const std::vector<const HoleRecord*>& holes) {
    Table table{"", {"Hole", "Finding", "Space left, ± U (k = 2)"}, {}};
    for (const HoleRecord* hole : holes) {
        const std::string words =
            hole->screw ? finding_of(record, *hole)
                        : "not judged: " + (hole->screw_why.empty() ? "no screw given" : hole->screw_why);
        table.rows.push_back({hole_name(*hole), words, space_left(*hole)});
    }
    for (const std::string& name : record.holes_not_found)
        table.rows.push_back(
            {"hole " + name + " of the case", "not judged: not found in the " + view_word(record), "–"});
    return table;
}

/// "36 holes (too narrow for the screw)": those that have no line in the table, by what kept them out.
std::vector<std::string> holes_left_out(const BoardRecord& record) {
    std::vector<std::pair<std::string, std::size_t>> reasons;
    for (const auto& hole : record.holes) {
        if (hole.kind != HoleKind::hole || is_reported(record, hole)) continue;
        const auto same = [&](const auto& reason) { return reason.first == hole.screw_why; };
        const auto found = std::find_if(reasons.begin(), reasons.end(), same);
        if (found == reasons.end())
            reasons.emplace_back(hole.screw_why, 1);
        else
            ++found->second;
    }
    std::vector<std::string> list;
    list.reserve(reasons.size());
    for (const auto& [why, count] : reasons)
        list.push_back(counted(count, "more hole") + (why.empty() ? "" : " (" + why + ")"));
    return list;
}

std::string others_sentence(const BoardRecord& record) {
    std::vector<std::string> list = holes_left_out(record);
    const auto add = [&](HoleKind kind, const std::string& name) {
        const auto count = static_cast<std::size_t>(
            std::count_if(record.holes.begin(), record.holes.end(),
                          [&](const HoleRecord& hole) { return hole.kind == kind; }));
        if (count > 0) list.push_back(counted(count, name));
    };
    add(HoleKind::via, "via");
    add(HoleKind::slot, "slot");
    add(HoleKind::filled, "filled hole");
    if (list.empty()) return {};
    std::string text;
    for (const auto& part : list)
        text += (text.empty() ? "" : ", ") + part;
    return "Also seen, counted and not judged: " + text +
           ". Their numbers stand in holes.csv. Holes that carry no mark in the picture were not found: "
           "count them yourself.";
}

std::string rule_sentence(const BoardRecord& record) {
    const SpacingRule& rule = record.rule;
    std::string spacing;
    for (const auto& hole : record.holes)
        if (hole.screw && hole.screw->required_mm) spacing = mm(*hole.screw->required_mm);
    if (rule.required_mm)
        return "The spacing chosen is " + mm(*rule.required_mm) + ", given by the investigator.";
    if (rule.row.empty())
        return "No spacing was chosen: the numbers are what is left to contact, and no gap can be found.";
    std::string text = "The spacing chosen is row " + rule.row + " of IPC-2221, table 6-1";
    if (rule.voltage_peak_v) {
        const std::string kind = rule.voltage_kind == VoltageKind::dc   ? "DC"
                                 : rule.voltage_kind == VoltageKind::ac ? "AC"
                                                                        : "kind not given";
        text += ", at " + shortest(*rule.voltage_peak_v) + " V peak (" + kind + ")";
    }
    if (!spacing.empty()) text += ": " + spacing;
    return text + ". It is a design rule for printed boards, used here as a yardstick; the table does not "
                  "name a screw in a hole, and it is no safety insulation.";
}

std::vector<std::string> how_to_read(const BoardRecord& record) {
    return {
        "Space left is the distance that remains between the screw's metal, in the position drawn, and "
        "the nearest copper seen that is not the hole's own, less the spacing chosen. A number below 0 mm "
        "means that this much is missing.",
        "± is U, the expanded uncertainty (k = 2): the true value is meant to lie within it about 95 "
        "times in 100. The finding counts the uncertainty in, one-sided, at " +
            percent(record.confidence) + ".",
        rule_sentence(record),
        "All copper that is not the hole's own is treated as live: a " +
            std::string(is_stack(record) ? "slice stack" : "face-on picture") +
            " does not show to which net it belongs. A low voltage is no comfort: the current of a short "
            "circuit makes the "
            "fire."};
}

/// Every length hangs on it, and nobody but the reader can check where it came from.
std::string scale_sentence(const BoardRecord& record) {
    if (record.sources.empty() || !record.sources.front().pixel_mm) return {};
    const SourceRecord& source = record.sources.front();
    const bool stack = is_stack(record);
    return std::string("Scale: one ") + (stack ? "voxel" : "pixel") + " is " +
           with_unit(source.pixel_mm.scaled(1000), "µm") +
           (stack ? " wide in a slice, from: " : " at the board, from: ") + stopped(source.pixel_mm_from);
}

std::string subtitle_of(const BoardRecord& record) {
    std::string text = unit_of(record);
    for (const auto& source : record.sources)
        text += (source.shot == Shot::stack ? ", slice stack " : ", picture ") +
                std::filesystem::path(source.file).filename().string();
    return text + ". Written by ringwall " + record.program.version + ".";
}

std::vector<std::string> shouts_of(const BoardRecord& record) {
    std::vector<std::string> shouts;
    for (const std::string& name : record.holes_not_found)
        shouts.push_back("Hole " + name + " of the case was not found in the " + view_word(record) +
                         ": nothing below speaks of it.");
    for (const auto& agreement : record.meter) {
        const bool against = agreement.says == MeterAgreement::Says::contradicts;
        if (!agreement.contact_proven && !against) continue;
        shouts.push_back(
            (agreement.contact_proven ? "Contact proven by meter, hole " : "Meter against picture, hole ") +
            agreement.hole + ": " + stopped(agreement.why));
    }
    for (const std::string& note : record.meter_notes)
        if (note.starts_with("CONTRADICTION") || note.starts_with("NOT PLACED"))
            shouts.push_back("Meter: " + note);
    for (const auto& hand : record.measured)
        if (hand.agrees && !*hand.agrees)
            shouts.push_back("Contradiction between hand measurement and " +
                             std::string(of_the_screw(hand) ? "the screw that was judged: " : "picture: ") +
                             spaced(hand.what) + (hand.where.empty() ? "" : ", " + hand.where) +
                             (of_the_screw(hand) ? "; " + stopped(hand.why) : "."));
    return shouts;
}

std::string lead_of(const BoardRecord& record, const std::vector<const HoleRecord*>& holes) {
    if (!record.why_nothing.empty())
        return unit_of(record) +
               (judged(holes) > 0 ? ": nothing could be decided: " : ": nothing could be judged: ") +
               stopped(record.why_nothing);
    if (holes.empty())
        return unit_of(record) + ": no hole for hardware was found in the " + view_word(record) +
               ", so none was judged.";
    return finding_sentence(record, *holes.front());
}

} // namespace

Summary summary_of(const BoardRecord& record) {
    const auto holes = worst_first(record);
    Summary summary;
    summary.title = board_of(record).empty() ? "A circuit board" : board_of(record);
    summary.subtitle = subtitle_of(record);
    summary.lead = lead_of(record, holes);
    summary.shouts = shouts_of(record);
    if (!holes.empty() && holes.front()->screw) {
        summary.lead_notes.push_back("Space left: " + space_left(*holes.front()) + ".");
        if (!holes.front()->screw->why.empty())
            summary.lead_notes.push_back("Why: " + stopped(holes.front()->screw->why));
    }
    if (record.partial)
        summary.lead_notes.emplace_back(
            "The measurement was stopped on the way: only finished holes are here.");
    if (!holes.empty()) {
        summary.whole_board.push_back(counts_sentence(record, holes));
        if (decided(holes) > 0) summary.whole_board.push_back(risk_sentence(record, judged(holes)));
    }
    if (const std::string scale = scale_sentence(record); !scale.empty() && !holes.empty())
        summary.whole_board.push_back(scale);
    if (const std::string others = others_sentence(record); !others.empty())
        summary.whole_board.push_back(others);
    summary.holes = hole_table(record, holes);
    summary.holes_with_pages = holes.size();
    summary.how_to_read = how_to_read(record);
    return summary;
}

} // namespace report
} // namespace ringwall
