// SPDX-License-Identifier: Apache-2.0
#include "record/from_hole.hpp"

#include "core/statistics.hpp"
#include "record/names.hpp"

#include <cmath>

namespace ringwall {
namespace {

std::optional<double> value_of(const Estimate& estimate) {
    return estimate ? std::optional(estimate.value()) : std::nullopt;
}

/// A radius or length whose direction is not one of the hole's own: with the mean factor.
std::optional<double> plain_mm(double px, const Scale& scale) {
    return scale.known() ? std::optional(px * scale.mean_mm()) : std::nullopt;
}

GapRecord gap_record(const GapSample& sample, const Scale& scale) {
    GapRecord record;
    record.angle_deg = sample.angle_deg;
    record.why = word(sample.reason);
    if (sample.reason != GapReason::measured) return record;
    const Estimate px = Estimate::of(sample.gap_px, sample.u_px);
    if (!px) {
        record.why = word(GapReason::none);
        return record;
    }
    record.gap_px = px.value();
    // Without a scale the direction has its gap, in px: none of the words for a missing gap is true of it.
    const Estimate mm = scale.length_mm(px, sample.angle_deg);
    if (!mm) return record;
    record.gap_mm = mm.value();
    record.u_mm = mm.u();
    return record;
}

std::vector<GapRecord> profile_of(const std::vector<GapSample>& samples, const Scale& scale) {
    std::vector<GapRecord> profile;
    profile.reserve(samples.size());
    for (const auto& sample : samples)
        profile.push_back(gap_record(sample, scale));
    return profile;
}

/// The fit's quantile lies some way below its value; the scale's share joins that distance in quadrature.
std::optional<double> low_mm(const Estimate& min_px, double p_low_px, double angle_deg, const Scale& scale,
                             double z) {
    if (!min_px || !scale.known() || !std::isfinite(p_low_px)) return std::nullopt;
    const double factor = scale.along_mm(angle_deg);
    const double below =
        std::hypot((min_px.value() - p_low_px) * factor, z * min_px.value() * factor * scale.relative_u());
    return min_px.value() * factor - (p_low_px > min_px.value() ? -below : below);
}

std::optional<double> angle_of(const Estimate& min_px, double angle_deg) {
    return min_px ? std::optional(angle_deg) : std::nullopt;
}

PlaneRecord plane_record(const PlaneGap& plane, const Scale& scale, double z) {
    PlaneRecord record;
    record.plane = plane.plane;
    record.state = plane.state;
    record.min_px = plane.min_px;
    record.min_mm = scale.length_mm(plane.min_px, plane.min_angle_deg);
    record.min_angle_deg = angle_of(plane.min_px, plane.min_angle_deg);
    record.p_low_mm = low_mm(plane.min_px, plane.p_low_px, plane.min_angle_deg, scale, z);
    record.profile = profile_of(plane.profile, scale);
    return record;
}

/// Of a hole that could not be measured: nothing was seen in any direction.
std::vector<GapRecord> unseen_profile() {
    constexpr int directions = 360;
    std::vector<GapRecord> profile(directions);
    for (int i = 0; i < directions; ++i) {
        auto& gap = profile[static_cast<std::size_t>(i)];
        gap.angle_deg = i;
        gap.why = word(GapReason::hidden);
    }
    return profile;
}

KeepOutRecord keepout_record(const KeepOut& keepout, const Scale& scale, double z) {
    KeepOutRecord record;
    record.state = keepout.state;
    record.why = keepout.why;
    record.min_px = keepout.min_px;
    record.min_mm = scale.length_mm(keepout.min_px, keepout.min_angle_deg);
    record.min_angle_deg = angle_of(keepout.min_px, keepout.min_angle_deg);
    record.p_low_mm = low_mm(keepout.min_px, keepout.p_low_px, keepout.min_angle_deg, scale, z);
    record.searched_to_mm = plain_mm(keepout.searched_to_px, scale);
    record.mean_mm = value_of(scale.diameter_mm(keepout.mean_px));
    if (keepout.own_outer_px > 0) record.own_outer_mm = plain_mm(keepout.own_outer_px, scale);
    record.touching_arcs_deg = keepout.touching_arcs;
    record.runs_on_arcs_deg = keepout.runs_on_arcs;
    if (keepout.state == KeepOutState::touching) {
        record.largest_gap_not_excluded_mm = plain_mm(keepout.largest_gap_not_excluded_px, scale);
    }
    record.profile = profile_of(keepout.profile, scale);
    for (const auto& plane : keepout.planes)
        record.planes.push_back(plane_record(plane, scale, z));
    return record;
}

Estimate um(const Estimate& mm) {
    return mm.scaled(1000);
}

WallRecord wall_record(const HoleWall& wall, const Scale& scale) {
    WallRecord record;
    record.state = wall.state;
    record.why = wall.why;
    if (wall.state != WallState::undecided) record.covered_fraction = wall.covered_fraction;
    record.missing_arcs_deg = wall.missing_arcs;
    record.thickness_um = um(scale.diameter_mm(wall.thickness_px));
    record.copper_um_integrated = um(scale.diameter_mm(wall.thickness_integrated_px));
    return record;
}

/// Peak to valley of the ellipse that a circle of the board makes in a picture with pixels that are not
/// square.
double ellipse_mm(const Hole& hole, const Scale& scale) {
    if (!scale.known() || !hole.bore_px) return 0;
    return hole.bore_px.value() * scale.mean_mm() * scale.anisotropy();
}

Estimate with_component(const Estimate& estimate, double u) {
    return estimate ? Estimate::of(estimate.value(), std::hypot(estimate.u(), u)) : estimate;
}

ShapeRecord shape_record(const Hole& hole, const Scale& scale) {
    ShapeRecord record;
    record.state = hole.shape;
    record.excess_mm = with_component(scale.diameter_mm(hole.excess_px), ellipse_mm(hole, scale) / 2);
    record.excess_mm2 = scale.area_mm2(hole.excess_px2);
    record.arcs_deg = hole.worn_arcs;
    return record;
}

struct Quantity {
    std::string name_mm;
    double value_px;
};

/// The quantity a budget line of the px measurement belongs to.
Quantity quantity_mm(const std::string& name_px, const Hole& hole) {
    if (!name_px.ends_with("_px")) return {name_px, 0};
    const std::string base = name_px.substr(0, name_px.size() - 3);
    const Estimate value = base == "bore"          ? hole.bore_px
                           : base == "drill"       ? hole.drill_px
                           : base == "keepout_min" ? hole.keepout.min_px
                                                   : Estimate();
    return {base + "_mm", value.value_or(0)};
}

void set_shares(std::vector<BudgetLine>& lines) {
    for (auto& line : lines) {
        double variance = 0;
        for (const auto& other : lines) {
            if (other.quantity == line.quantity) variance += other.u * other.u;
        }
        line.share = variance > 0 ? line.u * line.u / variance : 0;
    }
}

/// The lines of what has a value. Copper at the wall is stated as "no gap of g or more": what its fitted gap
/// of nothing is uncertain by is then no part of the number.
std::vector<BudgetLine> budget_of_values(const Hole& hole) {
    std::vector<BudgetLine> lines;
    const Estimate& gap = hole.keepout.min_px;
    const bool touching = hole.keepout.state == KeepOutState::touching;
    for (const BudgetLine& line : hole.budget_px)
        if (line.quantity != "keepout_min_px" || (gap && !touching)) lines.push_back(line);
    if (touching && gap) lines.push_back({"keepout_min_px", "largest gap not excluded", gap.u(), 1});
    return lines;
}

/// The px lines in mm, and after each quantity's last line the scale's share of it.
std::vector<BudgetLine> budget_of(const Hole& hole, const Scale& scale) {
    if (hole.kind != HoleKind::hole) return {};
    if (!scale.known()) return budget_of_values(hole);
    std::vector<BudgetLine> lines;
    const std::vector<BudgetLine> stated = budget_of_values(hole);
    for (std::size_t i = 0; i < stated.size(); ++i) {
        const BudgetLine& px = stated[i];
        const Quantity quantity = quantity_mm(px.quantity, hole);
        const bool min_gap = px.quantity == "keepout_min_px";
        const double factor = min_gap ? scale.along_mm(hole.keepout.min_angle_deg) : scale.mean_mm();
        lines.push_back({quantity.name_mm, px.component, px.u * factor, 0});
        const bool last = i + 1 == stated.size() || stated[i + 1].quantity != px.quantity;
        if (last) {
            lines.push_back(
                {quantity.name_mm, "scale", std::abs(quantity.value_px) * factor * scale.relative_u(), 0});
        }
    }
    set_shares(lines);
    return lines;
}

} // namespace

HoleRecord record_of(const Hole& hole, const Scale& scale, double confidence, std::string id) {
    HoleRecord record;
    record.id = std::move(id);
    record.kind = hole.kind;
    record.seen_fraction = hole.seen_fraction;
    record.hidden_arcs_deg = hole.hidden_arcs;
    record.x_px = hole.centre_px.x;
    record.y_px = hole.centre_px.y;
    record.u_x_px = hole.u_x_px;
    record.u_y_px = hole.u_y_px;
    if (const auto at = scale.at_mm(hole.centre_px)) {
        record.x_mm = at->x;
        record.y_mm = at->y;
    }
    record.bore_px = hole.bore_px;
    record.bore_mm = scale.diameter_mm(hole.bore_px);
    record.inscribed_mm = scale.diameter_mm(hole.inscribed_px);
    record.drill_px = hole.drill_px;
    record.drill_mm = scale.diameter_mm(hole.drill_px);
    record.roundness_mm = with_component(scale.diameter_mm(hole.roundness_px), ellipse_mm(hole, scale));
    record.furthest_void_mm = scale.diameter_mm(hole.furthest_void_px);
    record.shape = shape_record(hole, scale);
    record.contour = hole.contour;
    record.wall = wall_record(hole.wall, scale);
    record.keepout = keepout_record(hole.keepout, scale, normal_quantile(confidence));
    if (hole.kind != HoleKind::via && record.keepout.profile.empty())
        record.keepout.profile = unseen_profile();
    record.budget = budget_of(hole, scale);
    record.screw_why = "no screw was given";
    record.added_by_person = hole.seed.added_by_person;
    return record;
}

} // namespace ringwall
