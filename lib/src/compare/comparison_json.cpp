// SPDX-License-Identifier: Apache-2.0
#include "compare/similarity.hpp"
#include "record/json_text.hpp"
#include "record/json_values.hpp"
#include "ringwall/compare.hpp"

#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

namespace ringwall {
namespace {

using ringwall::json_of;

Json board_json(const ComparedBoard& board) {
    return {{"results", text_json(board.results)},   {"name", text_json(board.name)},
            {"revision", text_json(board.revision)}, {"unit", text_json(board.unit)},
            {"file", text_json(board.file)},         {"sha256", text_json(board.sha256)}};
}

Json alignment_json(const Comparison& comparison) {
    const HoleAlignment& alignment = comparison.alignment;
    Json json = {{"revised_px_from_old_px", nullptr},
                 {"mirrored", nullptr},
                 {"rotation_deg", nullptr},
                 {"scale", nullptr},
                 {"scale_px", nullptr},
                 {"residual_px", nullptr},
                 {"residual_mm", nullptr},
                 {"u_px", nullptr},
                 {"common_px_mm", nullptr},
                 {"common_holes", alignment.common.size()},
                 {"unmoved_holes", alignment.unmoved},
                 {"ambiguity", alignment.ambiguity},
                 {"by", nullptr},
                 {"why", text_json(alignment.why)}};
    if (!alignment.fit) return json;
    const Similarity& similarity = alignment.fit->similarity;
    Json rows = Json::array();
    for (const auto& row : comparison.revised_px_from_old_px)
        rows.push_back(Json::array({row[0], row[1], row[2]}));
    json["revised_px_from_old_px"] = std::move(rows);
    json["mirrored"] = similarity.mirrored;
    // y points down in the picture: anticlockwise as seen is a negative angle here
    json["rotation_deg"] = -std::atan2(similarity.a_y, similarity.a_x) * 180 / std::numbers::pi + 0.0;
    if (comparison.scale) json["scale"] = comparison.scale.value();
    json["scale_px"] = compare::scale_of(similarity);
    json["residual_px"] = alignment.residual_px;
    json["residual_mm"] = json_of(comparison.residual_mm);
    json["u_px"] = alignment.fit->u_px(alignment.fit->centre_old);
    json["by"] = alignment.by_hand ? "hand" : "holes";
    return json;
}

Json states_json(const HoleChange& pair, const BoardRecord& old_board, const BoardRecord& revised_board,
                 Json (*of)(const HoleRecord&)) {
    return {{"old", pair.old_hole ? of(old_board.holes[*pair.old_hole]) : Json(nullptr)},
            {"revised", pair.revised_hole ? of(revised_board.holes[*pair.revised_hole]) : Json(nullptr)}};
}

Json pair_json(const HoleChange& pair, const BoardRecord& old_board, const BoardRecord& revised_board) {
    Json delta = Json::object(), beyond = Json::object();
    for (const Delta& one : pair.delta) {
        delta[one.key] = json_of(one.value);
        if (one.beyond) beyond[one.key] = *one.beyond;
    }
    const auto states = [&](Json (*of)(const HoleRecord&)) {
        return states_json(pair, old_board, revised_board, of);
    };
    return {{"old", text_json(pair.old_id)},
            {"revised", text_json(pair.revised_id)},
            {"change", json_of(pair.change)},
            {"delta", std::move(delta)},
            {"beyond_uncertainty", std::move(beyond)},
            {"wall", states([](const HoleRecord& hole) { return Json(word(hole.wall.state)); })},
            {"keepout", states([](const HoleRecord& hole) { return Json(word(hole.keepout.state)); })},
            {"shape", states([](const HoleRecord& hole) { return Json(word(hole.shape.state)); })},
            {"finding", states([](const HoleRecord& hole) {
                 return hole.screw ? Json(word(hole.screw->finding)) : Json(nullptr);
             })},
            {"notes", json_of(pair.notes)}};
}

Json layers_json(const CopperLayersRecord& layers) {
    return {{"value", json_of(layers.value)}, {"at_least", json_of(layers.at_least)}};
}

Json board_change_json(const Comparison& comparison, const BoardRecord& old_board,
                       const BoardRecord& revised_board) {
    const BoardChange& change = comparison.board;
    return {
        {"thickness_mm",
         {{"delta", json_of(change.thickness_mm)}, {"beyond_uncertainty", json_of(change.thickness_beyond)}}},
        {"copper_layers",
         {{"old", layers_json(old_board.copper_layers)},
          {"revised", layers_json(revised_board.copper_layers)},
          {"delta", json_of(change.layers)},
          {"delta_at_least", json_of(change.layers_at_least)},
          {"why", text_json(change.layers_why)}}}};
}

} // namespace

std::string to_json(const Comparison& comparison, const BoardRecord& old_board,
                    const BoardRecord& revised_board) {
    const std::string later = "not in this version";
    Json json = {{"schema", 1},
                 {"program", program_json(comparison.program)},
                 {"old", board_json(comparison.old_board)},
                 {"revised", board_json(comparison.revised_board)},
                 {"alignment", alignment_json(comparison)},
                 {"decision_rule", {{"k", 2}, {"false_discovery_rate", 0.05}, {"tests", comparison.tests}}}};
    json["pairs"] = list_json(
        comparison.pairs, [&](const HoleChange& pair) { return pair_json(pair, old_board, revised_board); });
    json["board"] = board_change_json(comparison, old_board, revised_board);
    json["areas"] = nullptr, json["areas_why"] = later;
    json["series"] = Json::array(), json["series_why"] = later;
    json["units"] = nullptr, json["units_why"] = later;
    json["notes"] = json_of(comparison.notes);
    json["why_nothing"] = text_json(comparison.why_nothing);
    json["answer"] = comparison.answer;
    std::string text;
    append_json(text, json, 0);
    return text + "\n";
}

} // namespace ringwall
