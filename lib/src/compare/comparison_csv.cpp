// SPDX-License-Identifier: Apache-2.0
#include "core/csv.hpp"
#include "core/text.hpp"
#include "record/names.hpp"
#include "ringwall/compare.hpp"

namespace ringwall {
namespace {

constexpr const char* keys[] = {"position_mm", "bore_mm",           "keepout_min_mm",
                                "margin_mm",   "cutting_margin_mm", "drill_mm",
                                "position_px", "bore_px",           "keepout_min_px"};

std::string joined(const std::vector<std::string>& words, const std::string& between) {
    std::string text;
    for (const std::string& word : words)
        text += (text.empty() ? "" : between) + word;
    return text;
}

std::string delta_fields(const Delta* delta) {
    if (delta == nullptr) return ",,,";
    const std::string beyond = delta->beyond ? (*delta->beyond ? ",yes" : ",no") : ",";
    if (!delta->value) return ",," + beyond;
    return "," + plain(delta->value.value()) + "," + plain(delta->value.u()) + beyond;
}

/// A state on both boards, two fields.
template<typename Of>
std::string state_fields(const HoleRecord* old_hole, const HoleRecord* revised_hole, const Of& of) {
    return "," + (old_hole != nullptr ? of(*old_hole) : std::string()) + "," +
           (revised_hole != nullptr ? of(*revised_hole) : std::string());
}

std::string row_of(const HoleChange& pair, const HoleRecord* old_hole, const HoleRecord* revised_hole) {
    std::string row = pair.old_id + "," + pair.revised_id + "," + csv_field(joined(pair.change, " "));
    row += state_fields(old_hole, revised_hole, [](const HoleRecord& hole) { return csv_field(hole.name); });
    row += state_fields(old_hole, revised_hole, [](const HoleRecord& hole) { return word(hole.wall.state); });
    row +=
        state_fields(old_hole, revised_hole, [](const HoleRecord& hole) { return word(hole.keepout.state); });
    row +=
        state_fields(old_hole, revised_hole, [](const HoleRecord& hole) { return word(hole.shape.state); });
    row += state_fields(old_hole, revised_hole, [](const HoleRecord& hole) {
        return hole.screw ? word(hole.screw->finding) : std::string();
    });
    for (const char* key : keys)
        row += delta_fields(pair.find(key));
    return row + "," + csv_field(joined(pair.notes, "; ")) + "\n";
}

} // namespace

std::string to_csv(const Comparison& comparison, const BoardRecord& old_board,
                   const BoardRecord& revised_board) {
    std::string csv = "old,revised,change";
    for (const char* state : {"name", "wall", "keepout", "shape", "finding"})
        csv += "," + std::string(state) + "_old," + state + "_revised";
    for (const std::string key : keys)
        csv += ",delta_" + key + ",u_delta_" + key + ",beyond_" + key;
    csv += ",notes\n";
    for (const HoleChange& pair : comparison.pairs)
        csv += row_of(pair, pair.old_hole ? &old_board.holes[*pair.old_hole] : nullptr,
                      pair.revised_hole ? &revised_board.holes[*pair.revised_hole] : nullptr);
    return csv;
}

} // namespace ringwall
