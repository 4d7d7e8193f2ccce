// SPDX-License-Identifier: Apache-2.0
#include "record/edge_json.hpp"

namespace ringwall {
namespace {

Json layer_json(const EdgeLayerRecord& layer) {
    return {{"number", layer.number},      {"z_mm", json_of(layer.z_mm)},
            {"z_px", json_of(layer.z_px)}, {"width_px", json_of(layer.width_px)},
            {"darkness", layer.darkness},  {"saturated", layer.saturated},
            {"outer", layer.outer}};
}

EdgeLayerRecord read_layer(const Node& node) {
    EdgeLayerRecord layer;
    layer.number = node["number"].whole();
    layer.z_mm = read_estimate(node["z_mm"]);
    layer.z_px = read_estimate(node["z_px"]);
    layer.width_px = read_estimate(node["width_px"]);
    layer.darkness = node["darkness"].number();
    layer.saturated = node["saturated"].truth();
    layer.outer = node["outer"].truth();
    return layer;
}

EdgeRecord read_edge_record(const Node& node) {
    EdgeRecord edge;
    edge.source = node["source"].whole();
    edge.angle_deg = node["angle_deg"].number();
    const auto faces = node["faces_px"].list([](const Node& face) { return face.list(read_point); });
    if (faces.size() != 2 || faces[0].size() != 2 || faces[1].size() != 2)
        node["faces_px"].fail("two faces of two points");
    for (std::size_t f = 0; f < 2; ++f)
        edge.faces_px[f] = {faces[f][0], faces[f][1]};
    edge.thickness_px = read_estimate(node["thickness_px"]);
    edge.smear_px = read_estimate(node["smear_px"]);
    edge.layers = node["layers"].list(read_layer);
    edge.budget = node["budget"].list(read_budget_line);
    return edge;
}

BarrelRecord read_barrel(const Node& node) {
    BarrelRecord barrel;
    barrel.source = node["source"].whole();
    barrel.x_px = node["x_px"].number();
    barrel.y_px = node["y_px"].number();
    barrel.width_mm = read_estimate(node["width_mm"]);
    barrel.width_px = read_estimate(node["width_px"]);
    return barrel;
}

} // namespace

Json edge_json(const std::optional<EdgeRecord>& edge) {
    if (!edge) return nullptr;
    Json faces = Json::array();
    for (const auto& face : edge->faces_px)
        faces.push_back(Json::array({json_of(face[0]), json_of(face[1])}));
    return {{"source", edge->source},
            {"angle_deg", edge->angle_deg},
            {"faces_px", std::move(faces)},
            {"thickness_px", json_of(edge->thickness_px)},
            {"smear_px", json_of(edge->smear_px)},
            {"layers", list_json(edge->layers, layer_json)},
            {"budget", json_of(edge->budget)}};
}

Json barrels_json(const std::vector<BarrelRecord>& barrels) {
    return list_json(barrels, [](const BarrelRecord& barrel) {
        return Json{{"source", barrel.source},
                    {"x_px", barrel.x_px},
                    {"y_px", barrel.y_px},
                    {"width_mm", json_of(barrel.width_mm)},
                    {"width_px", json_of(barrel.width_px)}};
    });
}

void read_edge(const Node& root, BoardRecord& record) {
    const Node board = root["board"], copper = board["copper_layers"];
    record.copper_layers.value = copper["value"].maybe_whole();
    record.copper_layers.at_least = copper["at_least"].maybe_whole();
    record.copper_layers.why = copper["why"].text_or_empty();
    record.copper_layers.layers_z_mm =
        copper["layers_z_mm"].list([](const Node& node) { return node.number(); });
    if (board.has("edge") && !board["edge"].is_null()) record.edge = read_edge_record(board["edge"]);
    if (!root["barrels"].is_null()) record.barrels = root["barrels"].list(read_barrel);
    record.barrels_why = root["barrels_why"].text_or_empty();
}

} // namespace ringwall
