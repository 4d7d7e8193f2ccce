// SPDX-License-Identifier: Apache-2.0
#include "report/edge_section.hpp"

#include "core/text.hpp"

#include <cmath>
#include <filesystem>

namespace ringwall::report {
namespace {

std::string count_words(const CopperLayersRecord& layers) {
    if (layers.value) return std::to_string(*layers.value) + " copper layers";
    if (layers.at_least) return "at least " + std::to_string(*layers.at_least) + " copper layers";
    return "copper layers not counted";
}

std::string thickness_words(const BoardRecord& record) {
    if (record.thickness_mm) return with_expanded_u(record.thickness_mm, 3) + " mm";
    if (record.edge) return with_expanded_u(record.edge->thickness_px, 2) + " px (no scale)";
    return "– (" + record.thickness_mm.why() + ")";
}

std::string place_words(const EdgeLayerRecord& layer, bool mm) {
    return layer.outer ? "on a face" : layer.saturated ? "inside" : mm ? "inside, little copper" : "inside";
}

/// Distance between the middles of neighbours; their common part of u (the face they are counted from) is
/// counted in twice, so that U is not too small.
std::string spacing_words(const EdgeLayerRecord& a, const EdgeLayerRecord& b, bool mm) {
    const Estimate& from = mm ? a.z_mm : a.z_px;
    const Estimate& to = mm ? b.z_mm : b.z_px;
    if (!from || !to) return "–";
    return with_expanded_u(Estimate::of(to.value() - from.value(), std::hypot(from.u(), to.u())), mm ? 3 : 2);
}

Table layers_table(const EdgeRecord& edge) {
    const bool mm = !edge.layers.empty() && edge.layers.front().z_mm.has_value();
    const std::string unit = mm ? " mm" : " px";
    Table table{
        "Copper layers, from the upper (left) face of the picture",
        {"Layer", "Middle of the copper at," + unit, "To the next," + unit, "Shows as wide as, px", "Where"},
        {}};
    for (std::size_t i = 0; i < edge.layers.size(); ++i) {
        const EdgeLayerRecord& layer = edge.layers[i];
        table.rows.push_back({std::to_string(layer.number),
                              with_expanded_u(mm ? layer.z_mm : layer.z_px, mm ? 3 : 2),
                              i + 1 < edge.layers.size() ? spacing_words(layer, edge.layers[i + 1], mm) : "–",
                              with_expanded_u(layer.width_px, 2), place_words(layer, mm)});
    }
    return table;
}

Table budget_table(const EdgeRecord& edge) {
    Table table{"What the thickness' uncertainty is made of (k = 1)",
                {"Component", "u, mm", "Share of the variance"},
                {}};
    for (const BudgetLine& line : edge.budget)
        table.rows.push_back({line.component, fixed(line.u, 4), fixed(100 * line.share, 0) + " %"});
    return table;
}

constexpr std::size_t most_barrels = 24; ///< that the page names

Table barrels_table(const BoardRecord& record) {
    Table table{
        "Barrels of plated holes seen from the side", {"x, px", "y, px", "Outside of the plating"}, {}};
    for (const BarrelRecord& barrel : record.barrels) {
        if (table.rows.size() == most_barrels) break;
        table.rows.push_back({fixed(barrel.x_px, 1), fixed(barrel.y_px, 1),
                              barrel.width_mm ? with_expanded_u(barrel.width_mm, 3) + " mm"
                                              : with_expanded_u(barrel.width_px, 2) + " px"});
    }
    return table;
}

std::string barrels_words(const BoardRecord& record) {
    const std::size_t count = record.barrels.size();
    std::string words = count == 0   ? "No barrel of a plated hole shows from the side"
                        : count == 1 ? "One barrel of a plated hole shows from the side"
                                     : std::to_string(count) + " barrels of plated holes show from the side";
    if (count > most_barrels)
        words += "; the table names the first " + std::to_string(most_barrels) + ", results.json all";
    if (!record.barrels_why.empty()) words += "; " + record.barrels_why;
    return words + ".";
}

} // namespace

std::string edge_lead(const BoardRecord& record) {
    if (!record.edge) return "Nothing could be measured edge-on: " + record.why_nothing + ".";
    return "Seen edge-on the board is " + thickness_words(record) +
           " thick (U, k = 2), copper to copper outside, with " + count_words(record.copper_layers) +
           " in the picture.";
}

std::optional<Section> edge_section(const BoardRecord& record) {
    if (!record.edge) return std::nullopt;
    const EdgeRecord& edge = *record.edge;
    Section section;
    section.title = "The board seen edge-on";
    const auto source = static_cast<std::size_t>(edge.source);
    const std::string file = source < record.sources.size()
                                 ? std::filesystem::path(record.sources[source].file).filename().string()
                                 : "";
    section.paragraphs.push_back("Board thickness " + thickness_words(record) +
                                 " (U, k = 2), copper to copper outside, solder mask excluded; picture " +
                                 file + ".");
    std::string count = "Count: " + count_words(record.copper_layers);
    if (!record.copper_layers.why.empty()) count += "; " + record.copper_layers.why;
    section.paragraphs.push_back(count + ".");
    if (edge.smear_px)
        section.paragraphs.push_back("On its way through the board the beam passed " +
                                     with_expanded_u(edge.smear_px, 2) +
                                     " px across the thickness; that was taken off.");
    section.paragraphs.push_back(barrels_words(record));
    section.points = {
        "All copper along the beam adds up: a line does not show how far its copper reaches, nor "
        "which net it carries.",
        "Layers nearer to each other than the blur, or with almost no copper in the beam, may not "
        "show. An odd number is a warning, not a finding."};
    section.tables = {layers_table(edge), budget_table(edge), barrels_table(record)};
    return section;
}

} // namespace ringwall::report
