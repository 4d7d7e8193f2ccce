// SPDX-License-Identifier: Apache-2.0
#include "record/names.hpp"
#include "report/model.hpp"
#include "report/report.hpp"
#include "report/words.hpp"

#include <algorithm>

namespace ringwall::report {
namespace {

const PlaneRecord* plane_of(const HoleRecord& hole, int layer) {
    for (const PlaneRecord& plane : hole.keepout.planes)
        if (plane.layer == layer) return &plane;
    return nullptr;
}

/// "bare wall: 0.213 ±0.005 mm" of the hole with the narrowest ring on this layer.
std::string narrowest(const BoardRecord& record, int layer) {
    const HoleRecord* worst = nullptr;
    for (const HoleRecord& hole : record.holes) {
        const PlaneRecord* plane = plane_of(hole, layer);
        if (hole.kind != HoleKind::hole || plane == nullptr || !plane->min_mm) continue;
        if (worst == nullptr || plane->min_mm.value() < plane_of(*worst, layer)->min_mm.value())
            worst = &hole;
    }
    if (worst == nullptr) return "none seen";
    return hole_name(*worst) + ": " + with_unit(plane_of(*worst, layer)->min_mm, "mm");
}

std::string joined_holes(const BoardRecord& record, int layer) {
    std::string text;
    for (const HoleRecord& hole : record.holes) {
        if (hole.kind != HoleKind::hole || !hole.stack) continue;
        const auto& joined = hole.stack->joined_layers;
        if (std::find(joined.begin(), joined.end(), layer) != joined.end())
            text += (text.empty() ? "" : ", ") + hole_name(hole);
    }
    return text.empty() ? "–" : text;
}

Table layer_table(const BoardRecord& record) {
    Table table{"Copper layers, from the low face",
                {"Layer", "Depth of its middle", "Copper", "Narrowest copper-free ring", "Barrels joined"},
                {}};
    for (const LayerRecord& layer : *record.layers)
        table.rows.push_back({std::to_string(layer.number), mm(layer.z_mm, "no scale"),
                              with_unit(layer.thickness_um, "µm"), narrowest(record, layer.number),
                              joined_holes(record, layer.number)});
    return table;
}

} // namespace

std::vector<Section> layer_sections(const BoardRecord& record) {
    if (!record.layers) return {};
    Section section;
    section.title = "The layers of the stack";
    section.paragraphs = {"Board, copper to copper outside: " + with_unit(record.thickness_mm, "mm") + ", " +
                              counted(record.layers->size(), "copper layer") +
                              " seen. A layer too thin or too sparse to show is not counted.",
                          "Layers are numbered from the low face of the stack, which may be either side of "
                          "the board. No break seen in a wall is not continuity."};
    section.tables = {layer_table(record)};
    return {section};
}

std::vector<Table> stack_tables(const HoleRecord& hole) {
    if (!hole.stack) return {};
    Table table{"Layer by layer", {"Layer", "Depth", "Copper-free ring", "Smallest gap"}, {}};
    for (const PlaneRecord& plane : hole.keepout.planes) {
        std::string state = word(plane.state);
        std::replace(state.begin(), state.end(), '_', ' ');
        table.rows.push_back({std::to_string(plane.layer.value_or(plane.plane)), mm(plane.z_mm, "no scale"),
                              state, with_unit(plane.min_mm, "mm")});
    }
    table.rows.push_back(
        {"all", "–", "centres stray from a straight line by", with_unit(hole.stack->wander_mm, "mm")});
    return {table};
}

} // namespace ringwall::report
