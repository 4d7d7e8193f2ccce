// SPDX-License-Identifier: Apache-2.0
#include "report/words.hpp"

#include "core/text.hpp"
#include "record/position.hpp"

#include <algorithm>
#include <cmath>
#include <filesystem>

namespace ringwall::report {
namespace {

/// A minus as wide as a plus, and no place for a line to break.
std::string with_minus(const std::string& number) {
    return number.starts_with('-') ? "−" + number.substr(1) : number;
}

} // namespace

std::string with_unit(const Estimate& estimate, const std::string& unit) {
    if (!estimate) return "not known: " + estimate.why();
    const int decimals = unit == "mm" || unit == "mm²" ? 3 : (unit == "px" || unit == "voxels" ? 2 : 1);
    return with_minus(with_expanded_u(estimate, decimals)) + " " + unit;
}

std::string mm(double value) {
    return with_minus(fixed(value, 3)) + " mm";
}

std::string mm(const std::optional<double>& value, const std::string& otherwise) {
    return value ? mm(*value) : otherwise;
}

std::string mm_or_px(const Estimate& mm, const Estimate& px) {
    return mm || !px ? with_unit(mm, "mm") : with_unit(px, "px");
}

std::string percent(double share) {
    return shortest(rounded(100 * share, 3)) + " %";
}

std::string degrees(double angle_deg) {
    return fixed(angle_deg, 0) + "°";
}

std::string arcs(const std::vector<Arc>& list) {
    std::string text;
    for (const auto& arc : list)
        text += (text.empty() ? "" : ", ") + degrees(arc.from_deg) + " to " + degrees(arc.to_deg);
    return text;
}

std::string counted(std::size_t count, const std::string& noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

std::string stopped(const std::string& text) {
    return text.empty() || text.ends_with('.') || text.ends_with('?') ? text : text + ".";
}

std::string rule_in_words(const SpacingRule& rule) {
    if (rule.required_mm) return mm(*rule.required_mm) + " as given, a yardstick";
    if (rule.row.empty()) return "none was given";
    return "row " + rule.row + ", a yardstick; the table does not name this case";
}

std::string finding_words(Finding finding, const SpacingRule& rule) {
    switch (finding) {
    case Finding::reaches:
        return "can touch copper in the position drawn";
    case Finding::too_close:
        return "no contact shown, but nearer than the spacing chosen (" + rule_in_words(rule) + ")";
    case Finding::gap_shown:
        return "gap shown to the copper seen";
    case Finding::undecided:
        return "neither contact nor gap shown; handle as if it could touch";
    }
    return {};
}

std::string finding_of(const BoardRecord& record, const HoleRecord& hole) {
    const std::string by_picture = finding_words(hole.screw->finding, record.rule);
    return contact_proven(record, hole)
               ? "CONTACT with a supply PROVEN by the meter in the state it was read in; by the picture: " +
                     by_picture
               : by_picture;
}

std::string unit_of(const BoardRecord& record) {
    if (record.unit.empty()) return "The unit examined";
    const bool says_unit = record.unit.starts_with("unit ") || record.unit.starts_with("Unit ");
    return "Unit " + record.unit.substr(says_unit ? 5 : 0);
}

std::string board_of(const BoardRecord& record) {
    if (record.revision.empty()) return record.name;
    return record.name + (record.name.empty() ? "Revision " : ", revision ") + record.revision;
}

bool is_stack(const BoardRecord& record) {
    return !record.sources.empty() && record.sources.front().shot == Shot::stack;
}

bool is_edge_on_alone(const BoardRecord& record) {
    return !record.sources.empty() && record.sources.front().shot == Shot::edge;
}

std::string view_word(const BoardRecord& record) {
    return is_stack(record) ? "slice stack" : "picture";
}

std::string break_words(const StackHoleRecord& stack) {
    std::string text;
    for (const BarrelBreak& gap : stack.breaks) {
        text += text.empty() ? "" : " and ";
        text += gap.from_mm && gap.to_mm
                    ? mm(*gap.from_mm) + " to " + mm(*gap.to_mm)
                    : plain(gap.from_slices) + " voxels to " + plain(gap.to_slices) + " voxels";
    }
    return text + " below the low face";
}

std::string hole_name(const HoleRecord& hole) {
    const std::string& more = hole.name.empty() ? hole.purpose : hole.name;
    return more.empty() ? hole.id : hole.id + " (" + more + ")";
}

std::string picture_of(const BoardRecord& record, const HoleRecord& hole) {
    const auto source = static_cast<std::size_t>(hole.source);
    if (source >= record.sources.size()) return "not named";
    return std::filesystem::path(record.sources[source].file).filename().string();
}

std::string position_of(const HoleRecord& hole) {
    if (!hole.screw) return "no screw";
    const ScrewFit& fit = *hole.screw;
    if (!fit.resting_reach_mm) return "none, for want of a scale";
    const auto angle = drawn_angle_deg(hole);
    const std::string where = angle ? " at " + degrees(*angle) : "";
    if (drawn_cut_in(fit)) return "the thread cut into the wall" + where + " until its root bears";
    const bool fills = hole.drill_mm && *fit.resting_reach_mm > hole.drill_mm.value() / 2 + 0.0005;
    if (fills && fit.engagement == Engagement::cuts)
        return "the thread cutting in evenly all round, pushed to neither side";
    return "the screw resting on the wall" + where;
}

std::string path_name(const MetalPath& path) {
    std::string name = path.part;
    std::replace(name.begin(), name.end(), '_', ' ');
    return path.side.empty() || name == path.side + " side" ? name : name + ", " + path.side + " side";
}

std::string finding_sentence(const BoardRecord& record, const HoleRecord& hole) {
    const std::string start = unit_of(record) + ", hole " + hole_name(hole);
    const std::string picture =
        (is_stack(record) ? "Slice stack: " : "Picture: ") + picture_of(record, hole) + ".";
    if (!hole.screw) {
        const std::string why = hole.screw_why.empty() ? "no screw was given" : hole.screw_why;
        return start + ": not judged (" + why + "). " + picture;
    }
    const ScrewFit& fit = *hole.screw;
    const std::string screw = fit.name.empty() ? "the screw given" : "screw " + fit.name;
    std::string sentence =
        start + ", " + screw + ": " + finding_of(record, hole) + ". Position drawn: " + position_of(hole);
    if (const MetalPath* path = deciding_path(fit); path != nullptr && path->part != "thread")
        sentence += "; the finding is that of the " + path_name(*path);
    return sentence + ". " + picture;
}

std::string space_left(const HoleRecord& hole) {
    if (!hole.screw) return "not judged";
    const Estimate& left = space_left_mm(*hole.screw);
    if (!left && !hole.screw->resting_reach_mm) return "no number without a scale";
    if (!left) return "no number: " + left.why();
    const MetalPath* path = deciding_path(*hole.screw);
    const bool other = path != nullptr && path->part != "thread";
    return with_unit(left, "mm") + (hole.screw->required_mm ? "" : " to contact, no spacing chosen") +
           (other ? " (" + path_name(*path) + ")" : "");
}

} // namespace ringwall::report
