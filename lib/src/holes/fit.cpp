// SPDX-License-Identifier: Apache-2.0
#include "holes/fit.hpp"

#include "holes/contour.hpp"
#include "holes/cover.hpp"
#include "holes/rim_choice.hpp"
#include "holes/rim_start.hpp"
#include "holes/shape.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {

namespace {

constexpr double model_floor_px = 0.02; // radial scatter the model leaves on perfect pictures (tests/holes)
constexpr double unknown_curve_sigmas =
    0.3;                         // an unknown grey curve moves a half-level edge by up to this (methods 1.1)
constexpr double real_rim = 2.5; // times the halo: a dark rim that sharpening alone cannot make
constexpr double least_wall_u = 4, least_small_wall_u = 2, small_sigmas = 14;
constexpr double dark_share = 0.1;
constexpr double worst_bare_misfit = 2.0, better_plated = 1.25; // chi-square per degree of freedom
constexpr double fake_halo = 0.05; // overshoot that makes a picture "sharpened" (issue: describe)

constexpr const char* no_circle =
    "the rim is neither a bare edge nor plating to the noise: something in front, or another shape";

/// Noise of the map, or when that could not be told a level at which single pixels do not rule.
NoiseModel usable_noise(const TransmissionMap& map) {
    NoiseModel noise = map.noise;
    if (noise.sigma(1.0) < 1e-4) noise.readout = 0.02;
    return noise;
}

/// A sharpened picture puts a dark rim of `halo` of the step round every edge; plating makes a deeper one.
bool halo_can_fake(const TransmissionMap& map, const RimFit& fit, const RimShared& shared) {
    const double step = fit.model.open - fit.model.outside;
    const double dip = fit.model.wall_px * (fit.model.outside - shared.barrel) / (2.5 * shared.sigma_px);
    return map.halo > fake_halo && dip < real_rim * map.halo * step;
}

void add_budget(Hole& hole, const std::string& quantity,
                const std::vector<std::pair<std::string, double>>& parts) {
    double total = 0;
    for (const auto& [name, u] : parts)
        total += u * u;
    for (const auto& [name, u] : parts)
        hole.budget_px.push_back({quantity, name, u, total > 0 ? u * u / total : 0});
}

double summed(const std::vector<std::pair<std::string, double>>& parts) {
    double total = 0;
    for (const auto& [name, u] : parts)
        total += u * u;
    return std::sqrt(total);
}

/// u that comes with blur and barrel level into a quantity which moves by `by` for a unit change of each.
double carried_u(const Eigen::RowVector2d& by, const HolePriors& priors) {
    const RimSharedVariance& v = priors.variance;
    return std::sqrt(
        std::max(0.0, by[0] * by[0] * v.sigma + by[1] * by[1] * v.barrel + 2 * by[0] * by[1] * v.both));
}

void fill_position(const RimFit& fit, Hole& hole) {
    hole.centre_px = fit.model.centre_px;
    hole.u_x_px = std::sqrt(std::max(fit.covariance(0, 0), 0.0));
    hole.u_y_px = std::sqrt(std::max(fit.covariance(1, 1), 0.0));
}

void fill_sizes(const TransmissionMap& map, const RimChoice& choice, const HolePriors& priors, Hole& hole) {
    const RimFit& fit = choice.chosen();
    const double curve = map.t_is_physical ? 0.0 : unknown_curve_sigmas * priors.shared.sigma_px;
    const double noise = std::sqrt(std::max(fit.covariance(2, 2), 0.0));
    const std::vector<std::pair<std::string, double>> bore{
        {"noise", 2 * noise},
        {"edge model", 2 * model_floor_px},
        {"blur and plating level", 2 * carried_u(fit.by_shared.row(2), priors)},
        {"gap too narrow to show", 2 * choice.narrow_gap_u_px},
        {"unknown grey curve", 2 * curve}};
    hole.bore_px = Estimate::of(2 * fit.model.radius_px, summed(bore));
    add_budget(hole, "bore_px", bore);
    if (!fit.model.plated) {
        hole.drill_px = hole.bore_px;
        return;
    }
    const double both = fit.covariance(2, 2) + fit.covariance(3, 3) + 2 * fit.covariance(2, 3);
    const Eigen::RowVector2d by = fit.by_shared.row(2) + fit.by_shared.row(3);
    const std::vector<std::pair<std::string, double>> drill{
        {"noise", 2 * std::sqrt(std::max(both, 0.0))},
        {"edge model", 2 * model_floor_px},
        {"blur and plating level", 2 * carried_u(by, priors)},
        {"unknown grey curve", 2 * curve}};
    hole.drill_px = Estimate::of(2 * fit.model.drill_radius_px(), summed(drill));
    add_budget(hole, "drill_px", drill);
}

/// Plating thinner than what noise, blur and its unknown grey level make of nothing is not shown. A small
/// hole's own rim says less, and bare holes that small are rare.
bool wall_shown(const RimFit& plated, const HolePriors& priors) {
    const double noise = std::sqrt(std::max(plated.covariance(3, 3), 0.0));
    const double u = std::hypot(noise, carried_u(plated.by_shared.row(3), priors), model_floor_px);
    const bool small = plated.model.radius_px < small_sigmas * priors.shared.sigma_px;
    return plated.model.wall_px > (small ? least_small_wall_u : least_wall_u) * u;
}

/// A bare reading that leaves more than noise, or much more than the plated one does, decides nothing. Where
/// the grey scale is unknown noise is no measure.
bool bare_doubtful(const RimChoice& choice) {
    const double bare = choice.bare.chi2_per_dof(), plated = choice.plated.chi2_per_dof();
    if (bare > worst_bare_misfit) return true;
    return choice.plated.converged && choice.wall_z > 2 && bare > better_plated * plated;
}

/// Most directions show a rim darker than what lies behind it, by a share of the fall from the air.
bool dark_rim(const RimStart& start) {
    std::vector<double> dips;
    for (const RimRay& ray : start.rays)
        if (ray.found && start.open > ray.deepest)
            dips.push_back((ray.plateau - ray.deepest) / (start.open - ray.deepest));
    if (dips.empty()) return false;
    const auto middle = dips.begin() + static_cast<std::ptrdiff_t>(dips.size() / 2);
    std::nth_element(dips.begin(), middle, dips.end());
    return *middle > dark_share;
}

/// The verdict once more: where the picture's own noise and levels can be trusted by them, else by what is
/// plain to see.
void weigh(const TransmissionMap& map, const HolePriors& priors, const RimStart& start, RimChoice& choice) {
    const auto doubt = [&choice](const char* why) { choice.decided = false, choice.why = why; };
    if (!map.t_is_physical) {
        if (!choice.is_plated && dark_rim(start))
            doubt("a dark rim that this picture's grey scale may have made, or plating");
        return;
    }
    if (choice.is_plated && !wall_shown(choice.plated, priors)) {
        choice.is_plated =
            choice.bare.model.plated || !choice.bare.converged; // the other reading, if there is one
        doubt("plating would be thinner than what the unknown grey level of plating can make of none");
    } else if (!choice.is_plated && bare_doubtful(choice)) {
        doubt(no_circle);
    }
}

/// A rim that fits no circle because it is out of round, and shows no dark ring anywhere to speak of, is
/// bare.
void explain_by_shape(const Hole& hole, const RimStart& start, RimChoice& choice) {
    if (hole.shape == HoleShape::out_of_round && choice.why == no_circle && choice.bare.converged &&
        !dark_rim(start))
        choice.decided = true;
}

void fill_thickness(const TransmissionMap& map, const RimFit& fit, const HolePriors& priors, Hole& hole) {
    if (!map.t_is_physical) {
        hole.wall.thickness_px = hole.wall.thickness_integrated_px =
            Estimate::missing("the grey scale of this picture is not known to be linear");
        return;
    }
    if (!priors.barrel_known) {
        hole.wall.thickness_px =
            Estimate::missing("the grey level of plating seen end-on could not be found");
        hole.wall.thickness_integrated_px = hole.wall.thickness_px;
        return;
    }
    const double noise = std::sqrt(std::max(fit.covariance(3, 3), 0.0));
    hole.wall.thickness_px = Estimate::of(
        fit.model.wall_px, std::hypot(noise, carried_u(fit.by_shared.row(3), priors), model_floor_px));
}

} // namespace

Hole fit_hole(const TransmissionMap& map, const MaterialMap& materials, const HolePriors& bare_priors,
              const HoleCandidate& candidate) {
    Hole hole;
    hole.seed = candidate;
    hole.centre_px = candidate.centre_px;
    hole.kind = candidate.filled ? HoleKind::filled : candidate.elongated ? HoleKind::slot : HoleKind::hole;
    if (hole.kind != HoleKind::hole) {
        const char* why = candidate.filled ? "metal fills the hole" : "a slot, not a round hole";
        for (Estimate* e :
             {&hole.bore_px, &hole.inscribed_px, &hole.drill_px, &hole.roundness_px, &hole.furthest_void_px,
              &hole.excess_px, &hole.excess_px2, &hole.wall.thickness_px, &hole.wall.thickness_integrated_px})
            *e = Estimate::missing(why);
        hole.wall.why = hole.keepout.why = why;
        hole.u_x_px = hole.u_y_px = 1;
        return hole;
    }
    const NoiseModel noise = usable_noise(map);
    hole.cover = cover_of(map, candidate, bare_priors.shared.sigma_px, materials.levels.open.value_or(1.0));
    const MaterialLevels levels = seen_through(materials.levels, hole.cover);
    HolePriors priors = bare_priors;
    priors.shared = seen_through(bare_priors.shared, hole.cover);
    const RimStart start =
        look_at_rim(map.t.view(), candidate, priors.shared.sigma_px, levels.open.value_or(1.0));
    RimChoice choice = choose_rim(map.t.view(), noise, start, priors.shared, levels);
    weigh(map, priors, start, choice);
    const RimFit& fit = choice.chosen();
    if (!start.usable || !fit.converged || fit.pixels == 0) {
        const char* why = start.usable ? "the edge of the hole could not be fitted"
                                       : "too little of the hole's edge is seen";
        hole.centre_px = start.usable ? start.centre_px : candidate.centre_px;
        hole.seen_fraction = 0;
        hole.bore_px = hole.drill_px = hole.inscribed_px = hole.furthest_void_px = Estimate::missing(why);
        hole.wall.why = hole.keepout.why = why;
        hole.u_x_px = hole.u_y_px = 1;
        return hole;
    }
    if (priors.blur_known)
        hole.blur_px = Estimate::of(priors.shared.sigma_px, std::sqrt(priors.variance.sigma));
    fill_position(fit, hole);
    fill_sizes(map, choice, priors, hole);
    if (choice.is_plated) fill_thickness(map, fit, priors, hole);
    const double floor =
        map.t_is_physical ? 1.5 * model_floor_px : std::hypot(model_floor_px, 0.1 * priors.shared.sigma_px);
    const RimTracing tracing{noise, fit, priors.shared, 0.5 * fit.model.radius_px + 8, map.t_is_physical};
    const auto bins = trace_rim(map.t.view(), tracing);
    judge_shape(bins, tracing, floor, hole);
    explain_by_shape(hole, start, choice);
    judge_wall(bins, choice, halo_can_fake(map, fit, priors.shared), hole);
    if (!choice.is_plated) hole.drill_px = hole.bore_px; // the shape may have moved the bore
    return hole;
}

} // namespace ringwall
