// SPDX-License-Identifier: Apache-2.0
#include "screwfit/fit_screw.hpp"

#include "core/statistics.hpp"
#include "core/text.hpp"
#include "screwfit/alternatives.hpp"
#include "screwfit/decision.hpp"
#include "screwfit/one_ring.hpp"
#include "screwfit/without_scale.hpp"
#include "screwfit/words.hpp"

#include <cmath>

namespace ringwall::screwfit {
namespace {

void add_budget(std::vector<BudgetLine>& lines, const std::string& quantity,
                const std::optional<Margin>& margin) {
    if (!margin || !margin->value) return;
    double variance = 0;
    for (const Component& part : margin->parts)
        variance += part.u_mm * part.u_mm;
    for (const Component& part : margin->parts)
        lines.push_back(
            {quantity, part.name, part.u_mm, variance > 0 ? part.u_mm * part.u_mm / variance : 0});
}

std::optional<PlaneHeight> height_of(const Hole& hole, const Scale& scale, const Judging& with) {
    if (!with.source_to_board_mm || !with.board_mm) return std::nullopt;
    PlaneHeight height{*with.source_to_board_mm, 0, *with.board_mm};
    if (with.centre_px) {
        const auto at = scale.at_mm(hole.centre_px), centre = scale.at_mm(*with.centre_px);
        height.off_axis_mm = std::hypot(at->x - centre->x, at->y - centre->y);
    }
    return height;
}

Judged judged_rings(const std::vector<RingInMm>& rings, const Judging& with) {
    const OneRing worst = judge_rings(rings, with);
    Judged judged;
    judged.screw = worst.screw;
    judged.screw->alternatives = alternatives(rings, with, worst.screw);
    add_budget(judged.budget, "contact_margin_mm", worst.contact);
    add_budget(judged.budget, "margin_mm", worst.resting);
    add_budget(judged.budget, "cutting_margin_mm", worst.cutting);
    return judged;
}

} // namespace

Judged judge(const Hole& hole, const Scale& scale, const Judging& with) {
    if (!scale.known()) return {without_scale(with, scale.why()), {}, {}};
    RingOrReason found = ring_in_mm(hole, scale);
    if (!found.ring) return {{}, found.why, {}};
    found.ring->height = height_of(hole, scale, with);
    return judged_rings({std::move(*found.ring)}, with);
}

Judged judge_layers(const std::vector<LayerOfHole>& layers, const Scale& scale, const Judging& with) {
    if (!scale.known()) return {without_scale(with, scale.why()), {}, {}};
    std::vector<RingInMm> rings;
    for (const LayerOfHole& layer : layers) {
        RingOrReason found = ring_in_mm(layer.hole, scale);
        if (!found.ring) return {{}, found.why, {}};
        found.ring->layer = layer.place;
        rings.push_back(std::move(*found.ring));
    }
    return judged_rings(rings, with);
}

} // namespace ringwall::screwfit
