// SPDX-License-Identifier: Apache-2.0
#include "record/json_text.hpp"
#include "record/names.hpp"
#include "ringwall/error.hpp"
#include "ringwall/record.hpp"

#include <nlohmann/json.hpp>

namespace ringwall {
namespace {

using Json = nlohmann::ordered_json;

/// A value of the file and the way to it, so that an error can name the key.
class Node {
  public:
    Node(const Json& json, std::string path) : json_(json), path_(std::move(path)) {}

    [[noreturn]] void fail(const std::string& expected) const {
        std::string got = json_.dump(-1, ' ', false, Json::error_handler_t::replace);
        if (got.size() > 40) got = got.substr(0, 37) + "...";
        throw Error(Fault::input, "results file, key " + path_ + ": expected " + expected + ", got " + got);
    }
    [[nodiscard]] Node operator[](const std::string& key) const {
        if (!json_.is_object()) fail("an object");
        const auto found = json_.find(key);
        const std::string path = path_.empty() ? key : path_ + "." + key;
        if (found == json_.end()) throw Error(Fault::input, "results file, key " + path + ": missing");
        return {*found, path};
    }
    [[nodiscard]] bool has(const std::string& key) const { return json_.is_object() && json_.contains(key); }
    [[nodiscard]] bool is_null() const { return json_.is_null(); }
    [[nodiscard]] const Json& json() const { return json_; }

    [[nodiscard]] double number() const {
        if (!json_.is_number()) fail("a number");
        return json_.get<double>();
    }
    [[nodiscard]] int whole() const {
        if (!json_.is_number_integer()) fail("a whole number");
        return json_.get<int>();
    }
    [[nodiscard]] bool truth() const {
        if (!json_.is_boolean()) fail("true or false");
        return json_.get<bool>();
    }
    [[nodiscard]] std::string text() const {
        if (!json_.is_string()) fail("text");
        return json_.get<std::string>();
    }
    [[nodiscard]] std::string text_or_empty() const { return is_null() ? std::string() : text(); }
    [[nodiscard]] std::optional<double> maybe_number() const {
        return is_null() ? std::nullopt : std::optional(number());
    }
    template<typename T>
    [[nodiscard]] T state() const {
        const auto value = from_word<T>(text());
        if (!value) fail("one of " + all_words<T>());
        return *value;
    }
    template<typename F>
    [[nodiscard]] auto list(F read) const {
        if (!json_.is_array()) fail("a list");
        std::vector<decltype(read(*this))> values;
        values.reserve(json_.size());
        for (std::size_t i = 0; i < json_.size(); ++i) {
            values.push_back(read(Node(json_[i], path_ + "[" + std::to_string(i) + "]")));
        }
        return values;
    }
    [[nodiscard]] std::array<double, 2> pair() const {
        if (!json_.is_array() || json_.size() != 2) fail("two numbers");
        return {Node(json_[0], path_).number(), Node(json_[1], path_).number()};
    }

  private:
    const Json& json_;
    std::string path_;
};

Estimate read_estimate(const Node& node) {
    if (node["value"].is_null()) return Estimate::missing(node["why"].text());
    Estimate estimate = Estimate::of(node["value"].number(), node["u"].number());
    if (!estimate) node.fail("a value with an uncertainty of 0 or more");
    return estimate;
}

Arc read_arc(const Node& node) {
    const auto [from, to] = node.pair();
    return {from, to};
}

std::vector<Arc> read_arcs(const Node& node) {
    return node.list(read_arc);
}

std::string read_text(const Node& node) {
    return node.text();
}

Point read_point(const Node& node) {
    const auto [x, y] = node.pair();
    return {x, y};
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

BudgetLine read_budget_line(const Node& node) {
    return {node["quantity"].text(), node["component"].text(), node["u"].number(), node["share"].number()};
}

void read_position(const Node& node, HoleRecord& hole) {
    hole.x_px = node["x_px"].number();
    hole.y_px = node["y_px"].number();
    hole.u_x_px = node["u_x_px"].number();
    hole.u_y_px = node["u_y_px"].number();
    hole.x_mm = node["x_mm"].maybe_number();
    hole.y_mm = node["y_mm"].maybe_number();
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
    if (!node["budget"].is_null()) hole.budget = node["budget"].list(read_budget_line);
    hole.added_by_person = node["added_by_person"].truth();
    return hole;
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
    source.blur_sigma_px = read_estimate(node["blur_sigma_px"]);
    source.noise_photons = node["noise_model"]["photons"].maybe_number();
    source.noise_readout = node["noise_model"]["readout"].number();
    source.saturated_fraction = node["saturated_fraction"].number();
    source.smallest_foil_seen_um = node["smallest_foil_seen_um"].maybe_number();
    source.warnings = node["warnings"].list(read_text);
    return source;
}

Decision read_decision(const Node& node) {
    Decision decision;
    decision.who = node["who"].text();
    decision.when = node["when"].text();
    decision.act = node["what"].state<Decision::Act>();
    decision.why = node["why"].text();
    decision.at_px = read_point(node["at_px"]);
    if (decision.act == Decision::Act::set_scale) {
        decision.to_px = read_point(node["to_px"]);
        decision.value = node["mm"].number();
    }
    if (decision.act == Decision::Act::add_hole) decision.value = node["radius_px"].number();
    if (decision.act == Decision::Act::set_wall) decision.wall = node["wall"].state<WallState>();
    return decision;
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
    record.sources = root["sources"].list(read_source);
    record.holes = root["holes"].list(read_hole);
    record.decisions = root["decisions"].list(read_decision);
    record.not_proven = root["not_proven"].list(read_text);
    record.partial = root["partial"].truth();
    record.why_nothing = root["why_nothing"].text_or_empty();
    return record;
}

} // namespace

BoardRecord from_json(const std::string& bytes) {
    const Json root = Json::parse(bytes, nullptr, false);
    if (root.is_discarded()) throw Error(Fault::input, "results file: no JSON");
    return read_board(Node(root, ""));
}

} // namespace ringwall
