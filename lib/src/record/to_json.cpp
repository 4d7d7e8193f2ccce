// SPDX-License-Identifier: Apache-2.0
#include "core/statistics.hpp"
#include "record/case_json.hpp"
#include "record/edge_json.hpp"
#include "record/json_text.hpp"
#include "record/json_values.hpp"
#include "record/names.hpp"
#include "ringwall/record.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <nlohmann/json.hpp>

namespace ringwall {
namespace {

using ringwall::json_of; // beside those below, which would hide it

constexpr int schema = 1;

Json json_of(const std::vector<Arc>& arcs) {
    return list_json(arcs, [](const Arc& arc) { return Json::array({arc.from_deg, arc.to_deg}); });
}

Json json_of(const std::vector<GapRecord>& profile) {
    Json list = Json::array();
    for (const auto& gap : profile) {
        Json entry = {{"angle_deg", gap.angle_deg},
                      {"gap_mm", json_of(gap.gap_mm)},
                      {"gap_px", json_of(gap.gap_px)},
                      {"u_mm", json_of(gap.u_mm)}};
        if (!gap.why.empty()) entry["why"] = gap.why;
        list.push_back(std::move(entry));
    }
    return list;
}

Json json_of(const std::vector<ContourPoint>& contour) {
    return list_json(contour, [](const ContourPoint& point) {
        return Json{{"angle_deg", point.angle_deg}, {"radius_px", point.radius_px}, {"u_px", point.u_px}};
    });
}

Json json_of(const PlaneRecord& plane) {
    return {{"plane", plane.plane},
            {"layer", json_of(plane.layer)},
            {"z_mm", json_of(plane.z_mm)},
            {"state", word(plane.state)},
            {"min_mm", json_of(plane.min_mm)},
            {"min_px", json_of(plane.min_px)},
            {"min_angle_deg", json_of(plane.min_angle_deg)},
            {"p_low_mm", json_of(plane.p_low_mm)},
            {"profile", json_of(plane.profile)}};
}

Json json_of(const ShapeRecord& shape) {
    return {{"state", word(shape.state)},
            {"excess_mm", json_of(shape.excess_mm)},
            {"excess_mm2", json_of(shape.excess_mm2)},
            {"arcs_deg", json_of(shape.arcs_deg)}};
}

Json json_of(const WallRecord& wall) {
    return {{"state", word(wall.state)},
            {"why", text_json(wall.why)},
            {"covered_fraction", json_of(wall.covered_fraction)},
            {"missing_arcs_deg", json_of(wall.missing_arcs_deg)},
            {"thickness_um", json_of(wall.thickness_um)},
            {"copper_um_integrated", json_of(wall.copper_um_integrated)}};
}

Json json_of(const KeepOutRecord& keepout) {
    Json json = {{"state", word(keepout.state)},
                 {"why", text_json(keepout.why)},
                 {"min_mm", json_of(keepout.min_mm)},
                 {"min_px", json_of(keepout.min_px)},
                 {"min_angle_deg", json_of(keepout.min_angle_deg)},
                 {"p_low_mm", json_of(keepout.p_low_mm)},
                 {"searched_to_mm", json_of(keepout.searched_to_mm)},
                 {"mean_mm", json_of(keepout.mean_mm)},
                 {"own_outer_mm", json_of(keepout.own_outer_mm)},
                 {"touching_arcs_deg", json_of(keepout.touching_arcs_deg)},
                 {"runs_on_arcs_deg", json_of(keepout.runs_on_arcs_deg)},
                 {"largest_gap_not_excluded_mm", json_of(keepout.largest_gap_not_excluded_mm)},
                 {"profile", json_of(keepout.profile)}};
    json["planes"] = list_json(keepout.planes, [](const PlaneRecord& plane) { return json_of(plane); });
    return json;
}

void add_stack(const HoleRecord& hole, Json& json) {
    if (!hole.stack) return;
    json["wall_map"] = text_json(hole.stack->wall_map);
    json["wander_mm"] = json_of(hole.stack->wander_mm);
    json["joined_layers"] = list_json(hole.stack->joined_layers, [](int layer) { return Json(layer); });
    json["breaks"] = list_json(hole.stack->breaks, [](const BarrelBreak& gap) {
        return Json{{"from_mm", json_of(gap.from_mm)},
                    {"to_mm", json_of(gap.to_mm)},
                    {"from_slices", gap.from_slices},
                    {"to_slices", gap.to_slices}};
    });
}

Json json_of(const HoleRecord& hole) {
    Json json = {{"id", hole.id},
                 {"source", hole.source},
                 {"kind", word(hole.kind)},
                 {"seen_fraction", hole.seen_fraction},
                 {"hidden_arcs_deg", json_of(hole.hidden_arcs_deg)},
                 {"x_px", hole.x_px},
                 {"y_px", hole.y_px},
                 {"u_x_px", hole.u_x_px},
                 {"u_y_px", hole.u_y_px},
                 {"x_mm", json_of(hole.x_mm)},
                 {"y_mm", json_of(hole.y_mm)},
                 {"bore_mm", json_of(hole.bore_mm)},
                 {"bore_px", json_of(hole.bore_px)},
                 {"inscribed_mm", json_of(hole.inscribed_mm)},
                 {"drill_mm", json_of(hole.drill_mm)},
                 {"drill_px", json_of(hole.drill_px)},
                 {"roundness_mm", json_of(hole.roundness_mm)},
                 {"furthest_void_mm", json_of(hole.furthest_void_mm)},
                 {"shape", json_of(hole.shape)},
                 {"contour", json_of(hole.contour)},
                 {"wall", json_of(hole.wall)},
                 {"keepout", json_of(hole.keepout)},
                 {"name", text_json(hole.name)},
                 {"purpose", text_json(hole.purpose)},
                 {"screw", hole.screw ? screw_fit_json(*hole.screw) : Json(nullptr)},
                 {"screw_why", text_json(hole.screw_why)},
                 {"budget", hole.kind == HoleKind::hole ? json_of(hole.budget) : Json(nullptr)},
                 {"added_by_person", hole.added_by_person}};
    add_stack(hole, json);
    return json;
}

/// Standard deviation of one pixel in the open beam, as a share of the open beam.
Json open_beam_noise(const SourceRecord& source) {
    const double poisson = source.noise_photons.value_or(0) > 0 ? 1 / *source.noise_photons : 0;
    const double sigma = std::hypot(std::sqrt(poisson), source.noise_readout);
    return sigma > 0 ? Json(sigma) : Json(nullptr);
}

std::string named_from(const std::string& file, const std::filesystem::path& folder) {
    const std::filesystem::path path(file);
    if (!path.is_absolute()) return file;
    std::error_code error;
    const auto from = std::filesystem::weakly_canonical(std::filesystem::absolute(folder), error);
    const auto to = std::filesystem::weakly_canonical(path, error);
    if (error) return path.filename().string();
    const auto [in_from, in_to] = std::mismatch(from.begin(), from.end(), to.begin(), to.end());
    // Two trees that meet in the root alone: climbing down again would spell out the absolute path, which
    // results must not hold.
    const bool only_root = in_to == std::next(to.begin());
    return only_root ? path.filename().string() : to.lexically_relative(from).generic_string();
}

Json json_of(const SourceRecord& source, const std::filesystem::path& folder) {
    const Json pixel_xy = source.pixel_xy_mm
                              ? Json::array({(*source.pixel_xy_mm)[0], (*source.pixel_xy_mm)[1]})
                              : Json(nullptr);
    return {{"file", named_from(source.file, folder)},
            {"sha256", source.sha256},
            {"shot", word(source.shot)},
            {"width_px", source.width_px},
            {"height_px", source.height_px},
            {"slices", source.slices},
            {"bits", source.bits},
            {"radiometry", word(source.radiometry)},
            {"dense", word(source.dense)},
            {"pixel_mm", json_of(source.pixel_mm)},
            {"pixel_xy_mm", pixel_xy},
            {"pixel_mm_from", source.pixel_mm_from},
            {"side_to_source", source.side_to_source},
            {"geometry", geometry_json(source.geometry)},
            {"geometry_why", source.geometry ? Json(nullptr) : Json("no distances were stated")},
            {"blur_sigma_px", json_of(source.blur_sigma_px)},
            {"noise", open_beam_noise(source)},
            {"noise_model", {{"photons", json_of(source.noise_photons)}, {"readout", source.noise_readout}}},
            {"saturated_fraction", source.saturated_fraction},
            {"smallest_foil_seen_um", json_of(source.smallest_foil_seen_um)},
            {"warnings", json_of(source.warnings)}};
}

Json options_json(const std::vector<OptionRecord>& options) {
    Json json = Json::object();
    for (const auto& option : options)
        json[option.name] = Json::parse(option.value_json);
    return json;
}

Json decision_rule_json(const BoardRecord& record) {
    const auto is_judged = [](const HoleRecord& hole) { return hole.screw.has_value(); };
    return {{"confidence", record.confidence},
            {"z", normal_quantile(record.confidence)},
            {"holes", std::count_if(record.holes.begin(), record.holes.end(), is_judged)}};
}

Json board_json(const BoardRecord& record) {
    const CopperLayersRecord& copper = record.copper_layers;
    const Json layers = {{"value", json_of(copper.value)},
                         {"at_least", json_of(copper.at_least)},
                         {"why", text_json(copper.why)},
                         {"layers_z_mm", copper.layers_z_mm}};
    return {{"name", record.name},     {"revision", record.revision},
            {"unit", record.unit},     {"thickness_mm", json_of(record.thickness_mm)},
            {"copper_layers", layers}, {"edge", edge_json(record.edge)}};
}

Json picture_json(const BoardRecord& record) {
    if (record.sources.empty()) return nullptr;
    const SourceRecord& first = record.sources.front();
    return {{"blur_sigma_px", json_of(first.blur_sigma_px)},
            {"noise", open_beam_noise(first)},
            {"saturated_fraction", first.saturated_fraction},
            {"warnings", json_of(first.warnings)}};
}

Json json_of(const LayerRecord& layer) {
    const bool stated = !layer.stated_role.empty();
    return {{"number", layer.number},
            {"z_mm", json_of(layer.z_mm)},
            {"z_slices", json_of(layer.z_slices)},
            {"thickness_um", json_of(layer.thickness_um)},
            {"thickness_slices", json_of(layer.thickness_slices)},
            {"picture", text_json(layer.picture)},
            {"stated", stated ? Json{{"role", layer.stated_role}, {"evidence", text_json(layer.evidence)}}
                              : Json(nullptr)},
            {"treated_as_live", layer.treated_as_live}};
}

/// The parts after the holes; those without a stage yet are null, each with its reason beside it.
Json closing_json(const BoardRecord& record) {
    Json json = {{"barrels", record.edge ? barrels_json(record.barrels) : Json(nullptr)},
                 {"barrels_why", text_json(record.barrels_why)},
                 {"layers", nullptr},
                 {"layers_why", "no slice stack was measured"}};
    if (record.layers) {
        json["layers"] = list_json(*record.layers, [](const LayerRecord& layer) { return json_of(layer); });
        json["layers_why"] = nullptr;
    }
    add_case_facts_json(record, json);
    json["not_proven"] = json_of(record.not_proven);
    json["partial"] = record.partial;
    json["why_nothing"] = text_json(record.why_nothing);
    return json;
}

/// Writes an object's members key by key, so that never more than one hole stands in memory as a tree.
class Members {
  public:
    explicit Members(std::string& text) : text_(text) { text_ += "{"; }
    void add(const std::string& key, const Json& value) {
        start(key);
        append_json(text_, value, 2);
    }
    void add_all(const Json& object) {
        for (auto item = object.begin(); item != object.end(); ++item)
            add(item.key(), item.value());
    }
    void add_holes(const std::vector<HoleRecord>& holes) {
        start("holes");
        text_ += "[";
        for (const auto& hole : holes) {
            text_ += &hole == &holes.front() ? "\n    " : ",\n    ";
            append_json(text_, json_of(hole), 4);
        }
        text_ += holes.empty() ? "]" : "\n  ]";
    }
    void close() { text_ += "\n}\n"; }

  private:
    void start(const std::string& key) {
        text_ += first_ ? "\n  \"" : ",\n  \"";
        text_ += key + "\": ";
        first_ = false;
    }
    std::string& text_;
    bool first_ = true;
};

} // namespace

std::string to_json(const BoardRecord& record, const std::filesystem::path& folder) {
    std::string text;
    Members members(text);
    members.add("schema", schema);
    members.add("program", program_json(record.program));
    members.add("options", options_json(record.options));
    members.add("decision_rule", decision_rule_json(record));
    members.add("board", board_json(record));
    members.add("sources", list_json(record.sources,
                                     [&](const SourceRecord& source) { return json_of(source, folder); }));
    members.add("picture", picture_json(record));
    members.add_holes(record.holes);
    members.add_all(closing_json(record));
    members.close();
    return text;
}

} // namespace ringwall
