// SPDX-License-Identifier: Apache-2.0
#include "terminal.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>

namespace ringwall::cli {
namespace {

std::string fixed(double value, int decimals) {
    char text[64];
    const auto [end, error] =
        std::to_chars(text, text + sizeof text, value, std::chars_format::fixed, decimals);
    return error == std::errc() ? std::string(text, end) : "?";
}

/// Value and expanded uncertainty, "3.302 ±0.034", or "-".
std::string with_u(const Estimate& estimate, int decimals) {
    return estimate ? with_expanded_u(estimate, decimals) : "-";
}

std::string kind_words(HoleKind kind) {
    switch (kind) {
    case HoleKind::hole:
        return "hole";
    case HoleKind::via:
        return "via";
    case HoleKind::slot:
        return "slot";
    case HoleKind::filled:
        return "filled";
    }
    return {};
}

std::string wall_words(WallState wall) {
    switch (wall) {
    case WallState::plated:
        return "plated";
    case WallState::bare:
        return "bare";
    case WallState::incomplete:
        return "incomplete";
    case WallState::undecided:
        return "undecided";
    }
    return {};
}

/// The gap that would have shown, rounded up.
std::string touching_words(const KeepOutRecord& keepout, bool mm) {
    const double step = mm ? 0.001 : 0.1;
    const Estimate& min = mm ? keepout.min_mm : keepout.min_px;
    if (!min) return "copper at the wall";
    const double gap = std::max(1.0, std::ceil(2 * min.u() / step - 1e-9)) * step;
    return "copper at the wall: a gap of " + fixed(gap, mm ? 3 : 1) + (mm ? " mm" : " px") +
           " or more would have shown";
}

std::string keepout_words(const HoleRecord& hole, bool mm) {
    const KeepOutRecord& keepout = hole.keepout;
    switch (keepout.state) {
    case KeepOutState::ring_seen:
        return "ring seen";
    case KeepOutState::touching:
        return touching_words(keepout, mm);
    case KeepOutState::runs_on:
        return "own copper runs on into a plane";
    case KeepOutState::none_in_view:
        return keepout.searched_to_mm ? "no other copper within " + fixed(*keepout.searched_to_mm, 2) + " mm"
                                      : "no other copper in view";
    case KeepOutState::undecided:
        return "undecided" + (keepout.why.empty() ? "" : ": " + keepout.why);
    }
    return {};
}

/// In a stack a wall has depths: its share is no share of the turn, and it may be cut right through.
std::string plating_words(const HoleRecord& hole) {
    const std::string share = "plating on " + fixed(100 * *hole.wall.covered_fraction, 0) + " % of the ";
    if (!hole.stack) return share + "turn";
    if (hole.stack->breaks.empty()) return share + "wall, turn by depth";
    std::string words = "plating interrupted round the whole turn at a depth of ";
    for (const BarrelBreak& gap : hole.stack->breaks) {
        const bool mm = gap.from_mm && gap.to_mm;
        words += (&gap == &hole.stack->breaks.front() ? "" : " and ") +
                 fixed(mm ? *gap.from_mm : gap.from_slices, mm ? 3 : 0) + " to " +
                 fixed(mm ? *gap.to_mm : gap.to_slices, mm ? 3 : 0) + (mm ? " mm" : " voxels");
    }
    return words + " below the low face";
}

/// What is said of a hole behind its numbers: the ring, then what is unusual about the hole.
std::string state_words(const HoleRecord& hole, bool mm) {
    std::string words = keepout_words(hole, mm);
    if (hole.shape.state == HoleShape::out_of_round) {
        words += "; out of round";
        if (hole.shape.excess_mm) words += " by " + with_u(hole.shape.excess_mm, 3) + " mm";
    }
    if (hole.wall.state == WallState::incomplete && hole.wall.covered_fraction)
        words += "; " + plating_words(hole);
    if (hole.seen_fraction < 0.995)
        words += "; " + fixed(100 * hole.seen_fraction, 0) + " % of the wall seen";
    return words;
}

/// Text columns padded to their widest entry; "±" is two bytes and one column.
class Grid {
  public:
    void add(std::vector<std::string> row) { rows_.push_back(std::move(row)); }
    [[nodiscard]] std::string text() const {
        std::string text;
        for (const auto& row : rows_) {
            for (std::size_t i = 0; i < row.size(); ++i) {
                const bool last = i + 1 == row.size();
                text += row[i] + (last ? "\n" : std::string(2 + width_of_column(i) - width(row[i]), ' '));
            }
        }
        return text;
    }

  private:
    static std::size_t width(const std::string& text) {
        return static_cast<std::size_t>(
            std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; }));
    }
    [[nodiscard]] std::size_t width_of_column(std::size_t i) const {
        std::size_t widest = 0;
        for (const auto& row : rows_)
            widest = std::max(widest, width(row[i]));
        return widest;
    }
    std::vector<std::vector<std::string>> rows_;
};

std::string finding_words(const HoleRecord& hole) {
    if (!hole.screw) return "-";
    switch (hole.screw->finding) {
    case Finding::gap_shown:
        return "gap shown";
    case Finding::too_close:
        return "too close";
    case Finding::reaches:
        return "reaches";
    case Finding::undecided:
        return "undecided";
    }
    return {};
}

std::vector<std::string> row_of(const HoleRecord& hole, bool mm) {
    const bool touching = hole.keepout.state == KeepOutState::touching;
    return {hole.id,
            kind_words(hole.kind),
            fixed(mm ? *hole.x_mm : hole.x_px, mm ? 2 : 1),
            fixed(mm ? *hole.y_mm : hole.y_px, mm ? 2 : 1),
            with_u(mm ? hole.bore_mm : hole.bore_px, mm ? 3 : 2),
            wall_words(hole.wall.state),
            touching ? "0" : with_u(mm ? hole.keepout.min_mm : hole.keepout.min_px, mm ? 3 : 2),
            finding_words(hole),
            state_words(hole, mm)};
}

std::string rows_text(const std::vector<const HoleRecord*>& holes, bool mm) {
    if (holes.empty()) return {};
    Grid grid;
    const std::string unit = mm ? " mm" : " px";
    grid.add(
        {"id", "kind", "x" + unit, "y" + unit, "bore" + unit, "wall", "keep-out" + unit, "finding", "state"});
    for (const HoleRecord* hole : holes)
        grid.add(row_of(*hole, mm));
    return grid.text();
}

std::string number(double value) {
    char text[64];
    const auto [end, error] = std::to_chars(text, text + sizeof text, value);
    return error == std::errc() ? std::string(text, end) : "?";
}

std::string kind_of_voltage(const SpacingRule& rule) {
    if (rule.voltage_kind == VoltageKind::unknown) return "kind not given: the lower limit of DC and AC";
    return rule.voltage_kind == VoltageKind::dc ? "DC" : "AC";
}

/// What "near" is measured by; a rule that nobody chose is never put in.
std::string rule_text(const BoardRecord& record) {
    const SpacingRule& rule = record.rule;
    const std::optional<double> required_mm = required_spacing_mm(rule);
    if (!required_mm)
        return "spacing: no rule was given, so no gap can be shown (--required-mm, or --voltage-peak with "
               "--spacing-row)\n";
    const std::string start = "spacing: " + number(*required_mm) + " mm asked for, ";
    if (rule.required_mm) return start + "as given; a yardstick, no safety insulation\n";
    return start + "row " + rule.row + " of IPC-2221 table 6-1 at " + number(*rule.voltage_peak_v) +
           " V peak (" + kind_of_voltage(rule) +
           "); row chosen by the user: the table does not name a screw in a bare hole facing an inner "
           "plane\n";
}

std::string finding_text(const BoardRecord& record) {
    const bool judged = std::any_of(record.holes.begin(), record.holes.end(),
                                    [](const HoleRecord& hole) { return hole.screw.has_value(); });
    if (!record.screw && !judged) return "finding: none is made without a screw (--screw)\n";
    return rule_text(record);
}

double bore_of(const HoleRecord& hole, bool mm) {
    return (mm ? hole.bore_mm : hole.bore_px).value_or(0);
}

/// The holes that get a row of their own: where a screw may pass, and whatever is unusual.
bool has_a_row(const HoleRecord& hole, bool mm) {
    constexpr double least_screw_mm = 1.6; // M1.6, the smallest that holds boards: common practice, no source
    constexpr double worn_mm = 0.05; // a quarter of the 0.2 mm that an M1.6 thread is deep (from memory)
    if (hole.kind == HoleKind::via) return false;
    if (hole.kind != HoleKind::hole || hole.added_by_person) return true;
    if (!hole.bore_px) return false;
    return !mm || bore_of(hole, mm) >= least_screw_mm || hole.wall.state == WallState::bare ||
           hole.wall.state == WallState::incomplete || hole.shape.excess_mm.value_or(0) > worn_mm ||
           hole.keepout.state == KeepOutState::touching;
}

/// Those with a row, in the record's order; of too many the widest.
std::vector<const HoleRecord*> holes_with_rows(const BoardRecord& record, bool mm) {
    constexpr std::size_t most = 30; // what fits on a screen
    std::vector<const HoleRecord*> rows;
    for (const auto& hole : record.holes)
        if (has_a_row(hole, mm)) rows.push_back(&hole);
    if (rows.size() <= most) return rows;
    std::stable_sort(rows.begin(), rows.end(), [&](const HoleRecord* a, const HoleRecord* b) {
        return bore_of(*a, mm) > bore_of(*b, mm);
    });
    rows.resize(most);
    std::sort(rows.begin(), rows.end()); // places in the record: its order again
    return rows;
}

std::string counted(std::size_t count, const std::string& one, const std::string& many) {
    return std::to_string(count) + " " + (count == 1 ? one : many);
}

/// "8 with a ring, narrowest 0.316 ±0.036 mm (H26); 6 whose own copper runs on into a plane; 1 undecided".
std::string rings_of(const std::vector<const HoleRecord*>& group, bool mm) {
    const HoleRecord* narrowest = nullptr;
    std::size_t rings = 0, run_on = 0, touching = 0, none = 0, out_of_round = 0;
    for (const HoleRecord* hole : group) {
        const KeepOutState state = hole->keepout.state;
        run_on += state == KeepOutState::runs_on ? 1 : 0;
        touching += state == KeepOutState::touching ? 1 : 0;
        none += state == KeepOutState::none_in_view ? 1 : 0;
        out_of_round += hole->shape.state == HoleShape::out_of_round ? 1 : 0;
        if (state != KeepOutState::ring_seen || !hole->keepout.min_px) continue;
        ++rings;
        if (!narrowest || hole->keepout.min_px.value() < narrowest->keepout.min_px.value()) narrowest = hole;
    }
    std::string text;
    const auto say = [&](std::size_t count, const std::string& what) {
        if (count > 0) text += (text.empty() ? "" : "; ") + std::to_string(count) + " " + what;
    };
    if (narrowest)
        say(rings, "with a ring, narrowest " +
                       with_u(mm ? narrowest->keepout.min_mm : narrowest->keepout.min_px, mm ? 3 : 2) +
                       (mm ? " mm (" : " px (") + narrowest->id + ")");
    say(run_on, "whose own copper runs on into a plane");
    say(touching, "with copper at the wall");
    say(none, "with no other copper in view");
    say(group.size() - rings - run_on - touching - none, "whose ring is undecided");
    if (out_of_round > 0) text += "; out of round: " + std::to_string(out_of_round);
    return text;
}

std::string group_line(const std::vector<const HoleRecord*>& group, bool mm) {
    const double least = bore_of(*group.front(), mm), most = bore_of(*group.back(), mm);
    const int decimals = mm ? 2 : 1;
    std::string bores = fixed(least, decimals);
    if (fixed(most, decimals) != bores) bores += " to " + fixed(most, decimals);
    const WallState wall = group.front()->wall.state;
    return "  " + std::to_string(group.size()) + " of " + bores + (mm ? " mm, " : " px, ") +
           (wall == WallState::undecided ? "plated or bare undecided" : wall_words(wall)) + ": " +
           rings_of(group, mm) + "\n";
}

/// Like holes in one line: same wall, bores without a step between them.
std::string groups_text(std::vector<const HoleRecord*> holes, bool mm) {
    const double step = mm ? 0.05 : 2;
    std::stable_sort(holes.begin(), holes.end(), [&](const HoleRecord* a, const HoleRecord* b) {
        if (a->wall.state != b->wall.state) return a->wall.state < b->wall.state;
        return bore_of(*a, mm) < bore_of(*b, mm);
    });
    std::string text;
    std::vector<const HoleRecord*> group;
    for (const HoleRecord* hole : holes) {
        if (!group.empty() && (group.back()->wall.state != hole->wall.state ||
                               bore_of(*hole, mm) - bore_of(*group.back(), mm) > step)) {
            text += group_line(group, mm);
            group.clear();
        }
        group.push_back(hole);
    }
    return group.empty() ? text : text + group_line(group, mm);
}

/// Holes without a number, by the reason why.
std::string unmeasured_text(const std::vector<const HoleRecord*>& holes) {
    std::map<std::string, std::vector<const HoleRecord*>> by_reason;
    for (const HoleRecord* hole : holes)
        by_reason[hole->bore_px.why()].push_back(hole);
    std::string text;
    for (const auto& [why, same] : by_reason)
        text += "  " + std::to_string(same.size()) + " found and not measured: " + why + "\n";
    return text;
}

std::string rest_text(const BoardRecord& record, const std::vector<const HoleRecord*>& rows, bool mm) {
    std::vector<const HoleRecord*> measured, unmeasured;
    std::size_t vias = 0;
    for (const auto& hole : record.holes) {
        if (hole.kind == HoleKind::via)
            ++vias;
        else if (!std::binary_search(rows.begin(), rows.end(), &hole))
            (hole.bore_px ? measured : unmeasured).push_back(&hole);
    }
    std::string text;
    if (!measured.empty() || !unmeasured.empty())
        text += counted(measured.size() + unmeasured.size(), "hole", "holes") +
                (rows.empty() ? "" : " more") + ", each in holes.csv:\n" + groups_text(measured, mm) +
                unmeasured_text(unmeasured);
    if (vias > 0) text += counted(vias, "via", "vias") + ", each in holes.csv\n";
    return text;
}

std::string holes_text(const BoardRecord& record, bool mm) {
    if (record.holes.empty()) return {};
    const auto rows = holes_with_rows(record, mm);
    return rows_text(rows, mm) + rest_text(record, rows, mm) +
           "± is U, the expanded uncertainty (k = 2); x, y from the first pixel's centre, y down\n";
}

/// "board: 1.602 ±0.014 mm thick, 4 copper layers at 0.02, 0.30, 1.30, 1.58 mm; 6 barrels"
std::string edge_text(const BoardRecord& record) {
    if (!record.edge) return {};
    const bool mm = record.thickness_mm.has_value();
    const CopperLayersRecord& layers = record.copper_layers;
    std::string text = "board: " + with_u(mm ? record.thickness_mm : record.edge->thickness_px, mm ? 3 : 2) +
                       (mm ? " mm" : " px") + " thick, copper to copper outside\n";
    text += "copper layers: " +
            (layers.value      ? std::to_string(*layers.value)
             : layers.at_least ? "at least " + std::to_string(*layers.at_least)
                               : std::string("-")) +
            (layers.why.empty() ? "" : " (" + layers.why + ")");
    for (const EdgeLayerRecord& layer : record.edge->layers)
        text += std::string(layer.number == 1 ? "; at " : ", ") +
                with_u(mm ? layer.z_mm : layer.z_px, mm ? 3 : 2);
    return text + (mm ? " mm" : " px") +
           "\nbarrels seen from the side: " + std::to_string(record.barrels.size()) + "\n";
}

} // namespace

std::string table_of(const BoardRecord& record) {
    const bool mm = !record.sources.empty() && record.sources.front().pixel_mm.has_value();
    const bool edge_on = !record.sources.empty() && record.sources.front().shot == Shot::edge;
    std::string text = edge_text(record) + holes_text(record, mm) + (edge_on ? "" : finding_text(record));
    for (const auto& source : record.sources) {
        if (mm) text += "scale: " + source.pixel_mm_from + "\n";
        for (const auto& warning : source.warnings)
            text += "note: " + warning + "\n";
    }
    for (const auto& meter : record.meter) // a contradiction must not wait for the report
        if (meter.says == MeterAgreement::Says::contradicts || meter.contact_proven)
            text += "meter, " + meter.hole + ": " + (meter.contact_proven ? "CONTACT PROVEN: " : "") +
                    meter.why + "\n";
    if (!record.why_nothing.empty()) // beside a table of pixels "nothing" would contradict what is seen
        text += (record.holes.empty() && !record.edge ? "nothing measured: " : "no millimetres: ") +
                record.why_nothing + "\n";
    return text + "a gap on a picture is not insulation; what is not proven stands in results.json\n";
}

} // namespace ringwall::cli
