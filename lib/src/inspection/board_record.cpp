// SPDX-License-Identifier: Apache-2.0
#include "inspection/board_record.hpp"

#include "core/text.hpp"
#include "core/version.hpp"
#include "record/json_text.hpp"
#include "record/names.hpp"

#include <nlohmann/json.hpp>

namespace ringwall {
namespace {

using Json = nlohmann::ordered_json;

ProgramFacts program_facts() {
    return {"ringwall", version(), revision(), libraries()};
}

class OptionList {
  public:
    void add(const std::string& name, const Json& value) {
        OptionRecord option{name, {}};
        append_json(option.value_json, value, 0);
        list_.push_back(std::move(option));
    }
    void add(const std::string& name, const std::optional<double>& value) {
        add(name, value ? Json(*value) : Json(nullptr));
    }
    /// Only the name: an absolute path would differ from machine to machine.
    void add(const std::string& name, const std::optional<std::filesystem::path>& file) {
        add(name, file ? Json(file->filename().string()) : Json(nullptr));
    }
    [[nodiscard]] std::vector<OptionRecord> take() { return std::move(list_); }

  private:
    std::vector<OptionRecord> list_;
};

std::string place_words(const CaseHole& hole) {
    const Point at = hole.at_px.value_or(hole.at_mm.value_or(Point{}));
    return shortest(at.x) + "," + shortest(at.y) + (hole.at_px ? " px" : " mm");
}

Json known_json(const std::vector<KnownDistance>& known) {
    Json list = Json::array();
    for (const auto& k : known)
        list.push_back(k.u_mm ? Json::array({k.from_px.x, k.from_px.y, k.to_px.x, k.to_px.y, k.mm, *k.u_mm})
                              : Json::array({k.from_px.x, k.from_px.y, k.to_px.x, k.to_px.y, k.mm}));
    return list;
}

Json scale_holes_json(const std::vector<ScaleHole>& holes) {
    Json list = Json::array();
    for (const ScaleHole& hole : holes)
        list.push_back(Json::array({hole.name, hole.mm}));
    return list;
}

Json text_or_null(const std::string& text) {
    return text.empty() ? Json(nullptr) : Json(text);
}

/// A screw given by its sizes has no name: then the sizes are what was asked for.
void add_screw_options(const InspectRequest& request, OptionList& options) {
    const Screw screw = request.screw.value_or(Screw{});
    const auto size = [&](double mm) { return request.screw ? std::optional(mm) : std::nullopt; };
    options.add("screw", text_or_null(screw.name));
    options.add("screw_major_mm", size(screw.major_mm));
    options.add("screw_minor_mm", size(screw.minor_mm));
    options.add("head_mm", screw.head_mm);
    options.add("washer_mm", screw.washer_mm);
    options.add("washer_bore_mm", screw.washer_bore_mm);
    options.add("far_side_mm", screw.far_side_mm);
    options.add("tilt_deg", size(screw.tilt_deg));
    options.add("engagement", screw.engagement ? Json(word(*screw.engagement)) : Json(nullptr));
    Json own = Json::object();
    for (const CaseHole& hole : request.case_holes) {
        if (hole.no_screw || hole.screw)
            own[hole.name.empty() ? place_words(hole) : hole.name] = hole.no_screw ? "none" : hole.screw_name;
    }
    options.add("hole_screws", own);
}

void add_rule_options(const SpacingRule& rule, OptionList& options) {
    options.add("voltage_peak", rule.voltage_peak_v);
    options.add("voltage_kind",
                rule.voltage_kind == VoltageKind::unknown ? Json(nullptr) : Json(word(rule.voltage_kind)));
    options.add("spacing_row", text_or_null(rule.row));
    options.add("required_mm", rule.required_mm);
}

std::vector<OptionRecord> options_of(const InspectRequest& request) {
    OptionList options;
    options.add("shot", Json(word(request.shot)));
    const auto& pixel = request.pixel_mm;
    options.add("pixel_mm", pixel ? Json::array({(*pixel)[0], (*pixel)[1]}) : Json(nullptr));
    const auto& voxel = request.voxel_mm;
    if (request.shot == Shot::stack)
        options.add("voxel_mm", voxel ? Json::array({(*voxel)[0], (*voxel)[1], (*voxel)[2]}) : Json(nullptr));
    options.add("known", known_json(request.known));
    options.add("scale_holes", scale_holes_json(request.scale_holes));
    options.add("scale_u_percent", request.scale_u_percent);
    options.add("dense", Json(word(request.dense)));
    options.add("radiometry",
                request.radiometry == Radiometry::unknown ? Json(nullptr) : Json(word(request.radiometry)));
    options.add("flat", request.flat);
    options.add("dark", request.dark);
    options.add("board_mm", request.board_mm);
    options.add("foil_um", request.foil_um);
    options.add("thinnest_foil_um", request.thinnest_foil_um);
    options.add("confidence", Json(request.confidence));
    add_screw_options(request, options);
    add_rule_options(request.rule, options);
    options.add("leave_out_private", Json(request.leave_out_private));
    return options.take();
}

void fill_scale(SourceRecord& source, const Scale& scale) {
    source.pixel_mm = scale.pixel_mm();
    source.pixel_mm_from = scale.known() ? scale.from() : scale.why();
    if (scale.known()) source.pixel_xy_mm = scale.pixel_xy_mm();
}

void fill_exposure(SourceRecord& source, const ExposureFacts& exposure) {
    source.radiometry = exposure.radiometry;
    source.dense = exposure.dense;
    source.blur_sigma_px = exposure.blur_sigma_px;
    if (exposure.noise.photons > 0) source.noise_photons = exposure.noise.photons;
    source.noise_readout = exposure.noise.readout;
    source.saturated_fraction = exposure.saturated_fraction;
}

/// What files leave unsaid of a stack's voxels, or say without a unit.
bool is_about_voxel_size(const std::string& note) {
    return note.ends_with("ignored: no unit of length stated") || note == "the files state no voxel size" ||
           note.starts_with("voxel size incomplete");
}

std::vector<std::string> warnings_of(const Session::Products& products) {
    std::vector<std::string> warnings = products.facts->notes;
    if (products.request.voxel_mm) std::erase_if(warnings, is_about_voxel_size); // no news: it was given
    if (products.exposure) {
        for (const auto& warning : products.exposure->warnings)
            warnings.push_back(warning);
    }
    for (const auto& note : products.request.notes)
        warnings.push_back(note);
    return warnings;
}

SourceRecord source_record(const Session::Products& products, const Scale& scale) {
    const SourceFacts& facts = *products.facts;
    SourceRecord source;
    source.file = std::filesystem::absolute(products.request.pictures.front()).lexically_normal().string();
    source.sha256 = facts.sha256;
    source.width_px = facts.width_px;
    source.height_px = facts.height_px;
    source.slices = facts.pages;
    source.bits = facts.bits;
    source.shot = products.request.shot;
    source.radiometry = facts.radiometry;
    source.side_to_source = products.request.side_to_source;
    source.geometry = products.request.geometry;
    fill_scale(source, scale);
    if (products.exposure) fill_exposure(source, *products.exposure);
    source.warnings = warnings_of(products);
    return source;
}

} // namespace

std::vector<std::string> not_proven_face_on() {
    return {
        ("A face-on picture adds all copper layers together: which layer a plane lies on, and which plane is "
         "live, is not visible; a plane in front can hide a ring behind it."),
        "Thread grooves in a hole's wall and cracks thinner than the picture's blur do not show.",
        ("A hole out of round is measured; whether wear or drilling made it so is not. Not seeing wear is "
         "not absence of wear."),
        ("Chips, moisture, charred laminate, vibration and creep are not measured, and no break seen is not "
         "continuity."),
        "A picture of the empty board does not show where a screw sits.",
        ("Copper that this picture cannot show, because it is thinner than the thinnest foil it would have "
         "shown or hidden by a part, is not counted."),
        ("One unit says almost nothing about all units: with none failing out of one drawn at random, the "
         "failing share may still be 95 % (95 % confidence); a returned or chosen unit supports no share at "
         "all."),
        "Clearance on a picture is not insulation. Until a net is established, treat all copper as live.",
        ("This is an aid to inspection and no certification. Recalled parts stay out of use whatever it "
         "says. Local rules, the authority and licensed practice come first."),
    };
}

std::vector<std::string> not_proven_stack() {
    std::vector<std::string> lines = not_proven_face_on();
    lines[0] =
        "Copper joined outside this stack, through parts or through layers too thin to show, is not seen as "
        "joined: which plane is live is not visible.";
    lines[1] = "Cracks and breaks in a wall thinner than the stack's blur do not show: no break seen is not "
               "continuity.";
    lines[4] = "A stack of the empty board does not show where a screw sits.";
    lines[5] =
        "Copper that this stack cannot show, because it is thinner than the thinnest foil it would have "
        "shown or hidden by streaks of metal, is not counted; nor is a layer with copper over so little of "
        "the board that it does not show: the count of layers is that of the layers seen.";
    return lines;
}

BoardRecord board_record(const Session::Products& products, const Scale& scale,
                         std::span<const Decision> decisions) {
    const InspectRequest& request = products.request;
    BoardRecord record;
    record.program = program_facts();
    record.options = options_of(request);
    record.confidence = request.confidence;
    record.name = request.name;
    record.revision = request.revision;
    record.unit = request.unit;
    record.thickness_mm = Estimate::missing("a face-on picture does not show the board's thickness");
    if (products.facts) record.sources.push_back(source_record(products, scale));
    record.decisions.assign(decisions.begin(), decisions.end());
    record.not_proven = not_proven_face_on();
    return record;
}

} // namespace ringwall
