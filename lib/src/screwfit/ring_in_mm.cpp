// SPDX-License-Identifier: Apache-2.0
#include "screwfit/ring_in_mm.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::screwfit {
namespace {

std::vector<Component> components_of(const Hole& hole, double factor) {
    std::vector<Component> parts;
    double known = 0;
    for (const BudgetLine& line : hole.budget_px) {
        if (line.quantity != "keepout_min_px") continue;
        parts.push_back({line.component, line.u * factor});
        known += line.u * line.u;
    }
    // What the fit's lines leave open of its u: never less than the estimate says.
    const double u = hole.keepout.min_px ? hole.keepout.min_px.u() : 0;
    const double rest = u * u - known;
    if (rest > 1e-6 * u * u) parts.push_back({"rest of the fit", std::sqrt(rest) * factor});
    return parts;
}

double contour_radius_px(const Hole& hole, double angle_deg) {
    const auto nearest = std::min_element(
        hole.contour.begin(), hole.contour.end(), [&](const ContourPoint& a, const ContourPoint& b) {
            const auto off = [&](const ContourPoint& p) {
                return std::abs(std::remainder(p.angle_deg - angle_deg, 360.0));
            };
            return off(a) < off(b);
        });
    return nearest->radius_px;
}

std::vector<RingInMm::Direction> directions_of(const Hole& hole, const Scale& scale) {
    std::vector<RingInMm::Direction> directions;
    if (hole.shape != HoleShape::out_of_round || hole.contour.empty()) return directions;
    const double wall_px = 0.5 * (hole.drill_px.value_or(0) - hole.bore_px.value_or(0));
    for (const GapSample& sample : hole.keepout.profile) {
        if (sample.reason != GapReason::measured) continue;
        const double factor = scale.along_mm(sample.angle_deg);
        directions.push_back({(contour_radius_px(hole, sample.angle_deg) + std::max(0.0, wall_px)) * factor,
                              sample.gap_px * factor});
    }
    return directions;
}

} // namespace

RingOrReason ring_in_mm(const Hole& hole, const Scale& scale) {
    if (hole.kind == HoleKind::via) return {{}, "a via takes no screw"};
    if (hole.kind == HoleKind::slot) return {{}, "a slot: a screw in it is not judged"};
    if (hole.kind == HoleKind::filled) return {{}, "metal fills the hole: what lies behind it is not seen"};
    if (!scale.known()) return {{}, scale.why()};
    if (!hole.bore_px) return {{}, hole.bore_px.why()};
    const KeepOut& keepout = hole.keepout;
    RingInMm ring;
    ring.state = keepout.state;
    ring.why = keepout.why;
    ring.bare = hole.wall.state == WallState::bare;
    ring.plated = hole.wall.state == WallState::plated || hole.wall.state == WallState::incomplete;
    ring.bore_mm = scale.diameter_mm(hole.bore_px).value();
    ring.drill_mm = hole.drill_px ? scale.diameter_mm(hole.drill_px).value() : ring.bore_mm;
    ring.scale_relative_u = scale.relative_u();
    ring.seen_fraction = hole.seen_fraction;
    const double factor = scale.along_mm(keepout.min_angle_deg);
    if (keepout.min_px) {
        ring.gap_mm = keepout.min_px.value() * factor;
        ring.gap_low_by_mm = std::max(0.0, keepout.min_px.value() - keepout.p_low_px) * factor;
        ring.fit = components_of(hole, factor);
    } else {
        ring.gap_why = keepout.min_px.why();
    }
    if (keepout.searched_to_px > 0) ring.searched_to_mm = keepout.searched_to_px * scale.mean_mm();
    if (keepout.own_outer_px > 0) ring.own_outer_mm = keepout.own_outer_px * scale.mean_mm();
    if (keepout.state == KeepOutState::touching)
        ring.largest_gap_not_excluded_mm = keepout.largest_gap_not_excluded_px * scale.mean_mm();
    ring.directions = directions_of(hole, scale);
    return {std::move(ring), {}};
}

} // namespace ringwall::screwfit
