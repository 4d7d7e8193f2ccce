// SPDX-License-Identifier: Apache-2.0
#include "geometry/edge_in_mm.hpp"

#include <cmath>

namespace ringwall {
namespace {

constexpr double usual_foils_um[] = {17.5, 35, 70}; ///< half, one, two ounces: common practice, no source

std::optional<double> depth_over_distance(const std::optional<PictureGeometry>& geometry) {
    if (!geometry || !geometry->board_depth_mm) return std::nullopt;
    return *geometry->board_depth_mm / geometry->source_to_board_mm;
}

std::vector<BudgetLine> budget_of(const EdgeView& view, double mm_a_px, double scale_u) {
    std::vector<BudgetLine> lines;
    double sum = 0;
    const auto add = [&](const char* component, double u) {
        if (u > 0) lines.push_back({"thickness_mm", component, u, 0}), sum += u * u;
    };
    add("scatter along the board, noise", view.u_fit_px * mm_a_px);
    add("beam not along the board", view.u_smear_px * mm_a_px);
    add("unknown grey curve", view.u_curve_px * mm_a_px);
    add("scale", view.thickness_px.value() * mm_a_px * scale_u);
    for (BudgetLine& line : lines)
        line.share = sum > 0 ? line.u * line.u / sum : 0;
    return lines;
}

} // namespace

EdgeOptions edge_options(const Scale& scale, const std::optional<PictureGeometry>& geometry,
                         std::optional<double> foil_um, double thinnest_foil_um) {
    EdgeOptions options;
    options.depth_over_distance = depth_over_distance(geometry);
    if (geometry) options.centre_px = geometry->centre_px;
    if (!scale.known()) return options;
    const double px_a_um = 1 / (1000 * scale.mean_mm());
    if (foil_um) options.foil_px = *foil_um * px_a_um;
    for (const double usual : usual_foils_um)
        options.usual_foils_px.push_back(usual * px_a_um);
    options.thinnest_foil_px = thinnest_foil_um * px_a_um;
    return options;
}

EdgeInMm edge_in_mm(const EdgeView& view, const Scale& scale,
                    const std::optional<PictureGeometry>& geometry) {
    EdgeInMm out;
    const double across = view.angle_deg + 90;
    out.thickness_mm = scale.length_mm(view.thickness_px, across);
    for (const EdgeLayer& layer : view.layers)
        out.layers_z_mm.push_back(scale.length_mm(layer.z_px, across));
    const auto depth = depth_over_distance(geometry);
    for (const EdgeBarrel& barrel : view.barrels)
        out.barrels_mm.push_back(
            scale.length_mm(barrel.width_px, view.angle_deg).scaled(1, depth.value_or(0) / std::sqrt(12.0)));
    if (!view.found) return out;
    if (!depth)
        out.notes.emplace_back(
            "The source's distance and the board's depth along the beam were not stated (source_to_board_mm, "
            "board_depth_mm): how far perspective widens the board was taken from the width of its copper "
            "lines, and barrels are as wide as they show, wherever along the beam they stand");
    if (scale.known() && view.thickness_px)
        out.budget = budget_of(view, scale.along_mm(across), scale.relative_u());
    return out;
}

} // namespace ringwall
