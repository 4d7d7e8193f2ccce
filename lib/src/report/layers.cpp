// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"
#include "report/model.hpp"
#include "report/report.hpp"
#include "report/words.hpp"

#include <algorithm>

namespace ringwall {
namespace report {
namespace {

const PlaneRecord* plane_of(const HoleRecord& hole, int layer) {
    for (const PlaneRecord& plane : hole.keepout.planes)
        if (plane.layer == layer) return &plane;
    return nullptr;
}

/// In mm, without a scale in px.
std::string gap_words(const PlaneRecord& plane) {
    return mm_or_px(plane.min_mm, plane.min_px);
}

std::string depth_words(const LayerRecord& layer) {
    return layer.z_mm ? mm(*layer.z_mm) : with_unit(layer.z_slices, "voxels");
}

std::string copper_words(const LayerRecord& layer) {
    return layer.thickness_um || !layer.thickness_slices ? with_unit(layer.thickness_um, "µm")
                                                         : with_unit(layer.thickness_slices, "voxels");
}

/// Whether a hole's ring on this layer has a number, or copper at its wall.
bool has_ring(const PlaneRecord& plane) {
    return plane.state == KeepOutState::touching || plane.min_mm || plane.min_px;
}

double gap_of(const PlaneRecord& plane) {
    return plane.state == KeepOutState::touching ? 0 : plane.min_mm.value_or(plane.min_px.value_or(0));
}

std::string undecided_holes(const BoardRecord& record, int layer) {
    std::string text;
    for (const HoleRecord& hole : record.holes) {
        const PlaneRecord* plane = plane_of(hole, layer);
        if (hole.kind == HoleKind::hole && plane != nullptr && plane->state == KeepOutState::undecided)
            text += (text.empty() ? "" : ", ") + hole_name(hole);
    }
    return text;
}

/// "H7 (lid): 0.213 ±0.005 mm" of the hole with the narrowest ring on this layer. A via's land is its own.
std::string narrowest(const BoardRecord& record, int layer) {
    const HoleRecord* worst = nullptr;
    for (const HoleRecord& hole : record.holes) {
        const PlaneRecord* plane = plane_of(hole, layer);
        if (hole.kind != HoleKind::hole || plane == nullptr || !has_ring(*plane)) continue;
        if (worst == nullptr || gap_of(*plane) < gap_of(*plane_of(*worst, layer))) worst = &hole;
    }
    std::string text;
    if (worst != nullptr) {
        const PlaneRecord& plane = *plane_of(*worst, layer);
        text = hole_name(*worst) + ": " +
               (plane.state == KeepOutState::touching ? "copper at the wall" : gap_words(plane));
    }
    const std::string undecided = undecided_holes(record, layer);
    if (!undecided.empty()) text += (text.empty() ? "" : "; ") + std::string("undecided at ") + undecided;
    return text.empty() ? "none seen" : text;
}

enum class Joined { no, land, plane, undecided };

/// A land alone is copper of the barrel's own: a layer is joined where copper runs on from the barrel beyond
/// it.
Joined joined(const HoleRecord& hole, int layer) {
    const PlaneRecord* plane = plane_of(hole, layer);
    if (plane == nullptr || !hole.stack) return Joined::no;
    if (plane->state == KeepOutState::runs_on) return Joined::plane;
    if (plane->state == KeepOutState::undecided) return Joined::undecided;
    const auto& met = hole.stack->joined_layers;
    return std::find(met.begin(), met.end(), layer) != met.end() ? Joined::land : Joined::no;
}

std::string holes_joined(const BoardRecord& record, int layer, Joined how) {
    std::string text;
    for (const HoleRecord& hole : record.holes)
        if (hole.kind == HoleKind::hole && joined(hole, layer) == how)
            text += (text.empty() ? "" : ", ") + hole_name(hole);
    return text;
}

std::string joined_words(const BoardRecord& record, int layer) {
    std::string text;
    const auto add = [&](const std::string& what, Joined how) {
        const std::string holes = holes_joined(record, layer, how);
        if (!holes.empty()) text += (text.empty() ? "" : "; ") + what + holes;
    };
    add("runs on from ", Joined::plane);
    add("a land alone at ", Joined::land);
    add("undecided at ", Joined::undecided);
    return text.empty() ? "–" : text;
}

/// What a person says of a layer is never ours.
std::string stated_words(const BoardRecord& record, const LayerRecord& layer) {
    if (layer.stated_role.empty()) return "treated as live, net not established";
    const bool left_out = std::find(record.left_out.begin(), record.left_out.end(),
                                    "layers.stated.evidence") != record.left_out.end();
    const std::string evidence = !layer.evidence.empty() ? "evidence “" + layer.evidence + "”"
                                 : left_out              ? "evidence left out or not given"
                                                         : "without evidence";
    return "stated by the case: " + layer.stated_role + ", " + evidence + "; not established here; " +
           (layer.treated_as_live ? "treated as live" : "not counted as live");
}

Table layer_table(const BoardRecord& record) {
    Table table{"Copper layers, from the low face",
                {"Layer", "Middle of its copper, below the low face", "Copper", "Narrowest copper-free ring",
                 "Copper at the holes' barrels", "Net"},
                {}};
    for (const LayerRecord& layer : *record.layers)
        table.rows.push_back({std::to_string(layer.number), depth_words(layer), copper_words(layer),
                              narrowest(record, layer.number), joined_words(record, layer.number),
                              stated_words(record, layer)});
    return table;
}

std::string ring_words(KeepOutState state) {
    switch (state) {
    case KeepOutState::ring_seen:
        return "copper-free ring (antipad) seen";
    case KeepOutState::touching:
        return "copper at the bare wall";
    case KeepOutState::runs_on:
        return "own copper runs on into a plane";
    case KeepOutState::none_in_view:
        return "no copper in view";
    case KeepOutState::undecided:
        return "undecided";
    }
    return {};
}

std::vector<SectionFigure> layer_figures(const BoardRecord& record, const std::vector<std::string>& figures) {
    std::vector<SectionFigure> list;
    for (std::size_t k = 0; k < std::min(figures.size(), record.layers->size()); ++k) {
        const LayerRecord& layer = (*record.layers)[k];
        const std::string joins = holes_joined(record, layer.number, Joined::plane);
        list.push_back({&figures[k], "Copper layer " + std::to_string(layer.number) + ", alone",
                        layer_caption(record, layer) +
                            " Narrowest copper-free ring: " + narrowest(record, layer.number) + "." +
                            (joins.empty() ? "" : " Own copper runs on into a plane: " + joins + ".")});
    }
    return list;
}

std::string thickness_words(const BoardRecord& record) {
    const LayerRecord* last = record.layers->empty() ? nullptr : &record.layers->back();
    if (record.thickness_mm || last == nullptr || !last->z_slices)
        return "Board, copper to copper outside: " + with_unit(record.thickness_mm, "mm");
    return "No scale: depths are in voxels, rings in px";
}

} // namespace

std::vector<Section> layer_sections(const BoardRecord& record, const std::vector<std::string>& figures) {
    if (!record.layers) return {};
    Section section;
    section.title = "The layers of the stack";
    section.paragraphs = {thickness_words(record) + "; " + counted(record.layers->size(), "copper layer") +
                              " seen. A layer too thin or too sparse to show is not counted.",
                          "Layers are numbered from the low-z face of the stack, which may be either side of "
                          "the board. Vias are in results.json. No break seen in a wall is not continuity."};
    section.tables = {layer_table(record)};
    section.figures = layer_figures(record, figures);
    if (!section.figures.empty())
        section.paragraphs.emplace_back(
            "In the layers' pictures copper is dark, laminate light, air lightest; lines as in the picture "
            "of "
            "the whole board. Larger, as layer-1.png and so on, they lie in the results folder.");
    return {section};
}

std::vector<Table> stack_tables(const BoardRecord& record, const HoleRecord& hole) {
    if (!hole.stack) return {};
    Table table{"Layer by layer",
                {"Layer", "Middle of its copper, below the low face", "Round the hole", "Smallest gap"},
                {}};
    for (const PlaneRecord& plane : hole.keepout.planes) {
        const int number = plane.layer.value_or(plane.plane);
        std::string depth = mm(plane.z_mm, "not known: no scale");
        for (std::size_t k = 0; record.layers && k < record.layers->size(); ++k)
            if ((*record.layers)[k].number == number) depth = depth_words((*record.layers)[k]);
        table.rows.push_back({std::to_string(number), depth, ring_words(plane.state), gap_words(plane)});
    }
    table.rows.push_back(
        {"all", "–", "centres stray from a straight line by", with_unit(hole.stack->wander_mm, "mm")});
    return {table};
}

} // namespace report

std::string layer_caption(const BoardRecord& record, const LayerRecord& layer) {
    const std::size_t count = record.layers ? record.layers->size() : 0;
    const bool known = layer.z_mm || layer.z_slices;
    return "Layer " + std::to_string(layer.number) + " of " + std::to_string(count) +
           " seen: middle of its copper " + (known ? report::depth_words(layer) : "at a depth not known") +
           " below the low-z face.";
}

std::string overlay_caption(const BoardRecord& record) {
    if (!report::is_stack(record)) return {};
    return "Mean over the board's depth: copper of all layers together. Each layer alone: layer-1.png and so "
           "on.";
}

} // namespace ringwall
