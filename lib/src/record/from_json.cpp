// SPDX-License-Identifier: Apache-2.0
#include "record/case_json.hpp"
#include "record/edge_json.hpp"
#include "record/json_node.hpp"
#include "record/json_text.hpp"
#include "record/names.hpp"
#include "ringwall/error.hpp"
#include "ringwall/record.hpp"

namespace ringwall {
namespace {

Arc read_arc(const Node& node) {
    const auto [from, to] = node.pair();
    return {from, to};
}

std::vector<Arc> read_arcs(const Node& node) {
    return node.list(read_arc);
}

GapRecord read_gap(const Node& node) {
    GapRecord gap;
    gap.angle_deg = node["angle_deg"].number();
    gap.gap_mm = node["gap_mm"].maybe_number();
    gap.gap_px = node["gap_px"].maybe_number();
    gap.u_mm = node["u_mm"].maybe_number();
    if (node.has("why")) gap.why = node["why"].text();
    return gap;
}

ContourPoint read_contour_point(const Node& node) {
    return {node["angle_deg"].number(), node["radius_px"].number(), node["u_px"].number()};
}

PlaneRecord read_plane(const Node& node) {
    PlaneRecord plane;
    plane.plane = node["plane"].whole();
    if (!node["layer"].is_null()) plane.layer = node["layer"].whole();
    plane.z_mm = node["z_mm"].maybe_number();
    plane.state = node["state"].state<KeepOutState>();
    plane.min_mm = read_estimate(node["min_mm"]);
    plane.min_px = node.has("min_px") ? read_estimate(node["min_px"]) : Estimate::missing("not written");
    plane.min_angle_deg = node["min_angle_deg"].maybe_number();
    plane.p_low_mm = node["p_low_mm"].maybe_number();
    plane.profile = node["profile"].list(read_gap);
    return plane;
}

KeepOutRecord read_keepout(const Node& node) {
    KeepOutRecord keepout;
    keepout.state = node["state"].state<KeepOutState>();
    keepout.why = node["why"].text_or_empty();
    keepout.min_mm = read_estimate(node["min_mm"]);
    keepout.min_px = read_estimate(node["min_px"]);
    keepout.min_angle_deg = node["min_angle_deg"].maybe_number();
    keepout.p_low_mm = node["p_low_mm"].maybe_number();
    keepout.searched_to_mm = node["searched_to_mm"].maybe_number();
    keepout.mean_mm = node["mean_mm"].maybe_number();
    keepout.own_outer_mm = node["own_outer_mm"].maybe_number();
    keepout.touching_arcs_deg = read_arcs(node["touching_arcs_deg"]);
    keepout.runs_on_arcs_deg = read_arcs(node["runs_on_arcs_deg"]);
    keepout.largest_gap_not_excluded_mm = node["largest_gap_not_excluded_mm"].maybe_number();
    keepout.profile = node["profile"].list(read_gap);
    keepout.planes = node["planes"].list(read_plane);
    return keepout;
}

WallRecord read_wall(const Node& node) {
    WallRecord wall;
    wall.state = node["state"].state<WallState>();
    wall.why = node["why"].text_or_empty();
    wall.covered_fraction = node["covered_fraction"].maybe_number();
    wall.missing_arcs_deg = read_arcs(node["missing_arcs_deg"]);
    wall.thickness_um = read_estimate(node["thickness_um"]);
    wall.copper_um_integrated = read_estimate(node["copper_um_integrated"]);
    return wall;
}

ShapeRecord read_shape(const Node& node) {
    return {node["state"].state<HoleShape>(), read_estimate(node["excess_mm"]),
            read_estimate(node["excess_mm2"]), read_arcs(node["arcs_deg"])};
}

void read_position(const Node& node, HoleRecord& hole) {
    hole.x_px = node["x_px"].number();
    hole.y_px = node["y_px"].number();
    hole.u_x_px = node["u_x_px"].number();
    hole.u_y_px = node["u_y_px"].number();
    hole.x_mm = node["x_mm"].maybe_number();
    hole.y_mm = node["y_mm"].maybe_number();
}

StackHoleRecord read_stack(const Node& node) {
    StackHoleRecord stack;
    stack.wall_map = node["wall_map"].text_or_empty();
    stack.wander_mm = read_estimate(node["wander_mm"]);
    stack.joined_layers = node["joined_layers"].list([](const Node& layer) { return layer.whole(); });
    if (node.has("breaks"))
        stack.breaks = node["breaks"].list([](const Node& gap) {
            return BarrelBreak{gap["from_slices"].number(), gap["to_slices"].number(),
                               gap["from_mm"].maybe_number(), gap["to_mm"].maybe_number()};
        });
    return stack;
}

HoleRecord read_hole(const Node& node) {
    HoleRecord hole;
    hole.id = node["id"].text();
    hole.source = node["source"].whole();
    hole.kind = node["kind"].state<HoleKind>();
    hole.seen_fraction = node["seen_fraction"].number();
    hole.hidden_arcs_deg = read_arcs(node["hidden_arcs_deg"]);
    read_position(node, hole);
    hole.bore_mm = read_estimate(node["bore_mm"]);
    hole.bore_px = read_estimate(node["bore_px"]);
    hole.inscribed_mm = read_estimate(node["inscribed_mm"]);
    hole.drill_mm = read_estimate(node["drill_mm"]);
    hole.drill_px = read_estimate(node["drill_px"]);
    hole.roundness_mm = read_estimate(node["roundness_mm"]);
    hole.furthest_void_mm = read_estimate(node["furthest_void_mm"]);
    hole.shape = read_shape(node["shape"]);
    hole.contour = node["contour"].list(read_contour_point);
    hole.wall = read_wall(node["wall"]);
    hole.keepout = read_keepout(node["keepout"]);
    hole.name = node["name"].text_or_empty();
    hole.purpose = node["purpose"].text_or_empty();
    if (!node["screw"].is_null()) hole.screw = read_screw_fit(node["screw"]);
    hole.screw_why = node["screw_why"].text_or_empty();
    if (!node["budget"].is_null()) hole.budget = node["budget"].list(read_budget_line);
    hole.added_by_person = node["added_by_person"].truth();
    if (node.has("wall_map")) hole.stack = read_stack(node);
    return hole;
}

LayerRecord read_layer(const Node& node) {
    LayerRecord layer;
    layer.number = node["number"].whole();
    layer.z_mm = node["z_mm"].maybe_number();
    layer.thickness_um = read_estimate(node["thickness_um"]);
    layer.picture = node["picture"].text_or_empty();
    if (node.has("z_slices")) layer.z_slices = read_estimate(node["z_slices"]);
    if (node.has("thickness_slices")) layer.thickness_slices = read_estimate(node["thickness_slices"]);
    if (node.has("treated_as_live")) layer.treated_as_live = node["treated_as_live"].truth();
    if (!node.has("stated") || node["stated"].is_null()) return layer;
    layer.stated_role = node["stated"]["role"].text();
    if (layer.stated_role != "live" && layer.stated_role != "ground" && layer.stated_role != "signal")
        node["stated"]["role"].fail("live, ground or signal");
    layer.evidence = node["stated"]["evidence"].text_or_empty();
    return layer;
}

SourceRecord read_source(const Node& node) {
    SourceRecord source;
    source.file = node["file"].text();
    source.sha256 = node["sha256"].text();
    source.shot = node["shot"].state<Shot>();
    source.width_px = node["width_px"].whole();
    source.height_px = node["height_px"].whole();
    source.slices = node["slices"].whole();
    source.bits = node["bits"].whole();
    source.radiometry = node["radiometry"].state<Radiometry>();
    source.dense = node["dense"].state<DenseSide>();
    source.pixel_mm = read_estimate(node["pixel_mm"]);
    if (!node["pixel_xy_mm"].is_null()) source.pixel_xy_mm = node["pixel_xy_mm"].pair();
    source.pixel_mm_from = node["pixel_mm_from"].text();
    source.side_to_source = node["side_to_source"].text();
    source.geometry = read_geometry(node["geometry"]);
    source.blur_sigma_px = read_estimate(node["blur_sigma_px"]);
    source.noise_photons = node["noise_model"]["photons"].maybe_number();
    source.noise_readout = node["noise_model"]["readout"].number();
    source.saturated_fraction = node["saturated_fraction"].number();
    source.smallest_foil_seen_um = node["smallest_foil_seen_um"].maybe_number();
    source.warnings = node["warnings"].list(read_text);
    return source;
}

ProgramFacts read_program(const Node& node) {
    ProgramFacts program;
    program.name = node["name"].text();
    if (program.name != "ringwall") node["name"].fail("\"ringwall\"");
    program.version = node["version"].text();
    program.revision = node["revision"].text();
    const Node libraries = node["libraries"];
    for (auto item = libraries.json().begin(); item != libraries.json().end(); ++item) {
        program.libraries.emplace_back(item.key(), libraries[item.key()].text());
    }
    return program;
}

std::vector<OptionRecord> read_options(const Node& node) {
    std::vector<OptionRecord> options;
    for (auto item = node.json().begin(); item != node.json().end(); ++item) {
        OptionRecord option;
        option.name = item.key();
        append_json(option.value_json, item.value(), 0);
        options.push_back(std::move(option));
    }
    return options;
}

BoardRecord read_board(const Node& root) {
    if (root["schema"].whole() != 1) root["schema"].fail("1");
    BoardRecord record;
    record.program = read_program(root["program"]);
    record.options = read_options(root["options"]);
    record.confidence = root["decision_rule"]["confidence"].number();
    if (!(record.confidence > 0 && record.confidence < 1))
        root["decision_rule"]["confidence"].fail("a number between 0 and 1");
    record.name = root["board"]["name"].text();
    record.revision = root["board"]["revision"].text();
    record.unit = root["board"]["unit"].text();
    record.thickness_mm = read_estimate(root["board"]["thickness_mm"]);
    read_edge(root, record);
    if (!root["layers"].is_null()) record.layers = root["layers"].list(read_layer);
    record.sources = root["sources"].list(read_source);
    record.holes = root["holes"].list(read_hole);
    read_case_facts(root, record);
    record.not_proven = root["not_proven"].list(read_text);
    record.partial = root["partial"].truth();
    record.why_nothing = root["why_nothing"].text_or_empty();
    return record;
}

} // namespace

BoardRecord from_json(const std::string& bytes) {
    const Node::Json root = Node::Json::parse(bytes, nullptr, false);
    if (root.is_discarded()) throw Error(Fault::input, "results file: no JSON");
    return read_board(Node(root, ""));
}

} // namespace ringwall
