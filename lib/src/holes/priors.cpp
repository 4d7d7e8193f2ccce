// SPDX-License-Identifier: Apache-2.0
#include "holes/fit.hpp"

#include "holes/rim_choice.hpp"
#include "holes/rim_start.hpp"

#include <Eigen/LU>

#include <algorithm>
#include <cmath>
#include <vector>

namespace ringwall {

namespace {

constexpr int most_bare = 10, most_plated = 16; // more holes hardly lower u, and cost time
constexpr double widest_px = 120;               // a larger hole's rim brings more pixels than are needed
constexpr int rounds = 8;
constexpr double assumed_sigma_px = 1.2;
constexpr double model_share = 0.003; // what a Gaussian leaves of a real blur, as a share
constexpr double misfit_limit = 2.5;  // chi2/dof above which a hole says nothing of what is shared

struct Witness {
    RimFit fit;
    RimBelief belief;
    double scatter = 1; // chi2/dof of the first fit, if above 1: the weight stays what it was
};

/// Larger holes first, in an order that the list's own order settles: same picture, same witnesses.
std::vector<const HoleCandidate*> by_size(std::span<const HoleCandidate> candidates) {
    std::vector<const HoleCandidate*> order;
    for (const HoleCandidate& c : candidates)
        if (!c.filled && !c.elongated && !c.added_by_person && c.radius_px < widest_px) order.push_back(&c);
    std::stable_sort(order.begin(), order.end(), [](const HoleCandidate* a, const HoleCandidate* b) {
        return a->radius_px > b->radius_px;
    });
    return order;
}

/// Level of plating to start from: a little under the deepest rim seen.
double first_barrel_level(const RimStart& start, double sigma) {
    std::vector<double> levels;
    for (const RimRay& ray : start.rays)
        if (ray.found)
            levels.push_back(ray.plateau -
                             (ray.plateau - ray.deepest) * std::clamp(2.5 * sigma / 1.2, 1.0, 3.0));
    if (levels.empty()) return 0.1;
    std::nth_element(levels.begin(), levels.begin() + static_cast<std::ptrdiff_t>(levels.size() / 2),
                     levels.end());
    return std::clamp(levels[levels.size() / 2], 0.02, 0.9);
}

void refit(const TransmissionMap& map, const NoiseModel& noise, const RimShared& shared, Witness& w) {
    w.fit = fit_rim(map.t.view(), noise, w.fit.model, shared, w.belief);
}

void add_expectation(const Estimate& expected, double now, int which, Eigen::Matrix2d& curvature,
                     Eigen::Vector2d& gradient, double& chi2) {
    if (!expected) return;
    const double weight = 1 / (expected.u() * expected.u()), off = expected.value() - now;
    curvature(which, which) += weight;
    gradient[which] += off * weight;
    chi2 += off * off * weight;
}

/// What all witnesses say at one pair of shared values: chi-square, its gradient and curvature (of half of
/// it).
struct Testimony {
    RimShared shared;
    std::vector<Witness> witnesses;
    double chi2 = 0;
    Eigen::Matrix2d curvature = Eigen::Matrix2d::Zero();
    Eigen::Vector2d gradient = Eigen::Vector2d::Zero();
};

Testimony hear(const TransmissionMap& map, const NoiseModel& noise, std::vector<Witness> witnesses,
               const RimShared& shared, const Estimate& sigma, const Estimate& barrel) {
    Testimony t{.shared = shared, .witnesses = std::move(witnesses)};
    bool any_barrel = false;
    for (Witness& w : t.witnesses) {
        refit(map, noise, shared, w);
        const double per_dof = std::max(w.fit.chi2_per_dof(), 0.2);
        t.chi2 += w.fit.chi2 / w.scatter;
        if (!w.fit.converged || per_dof > misfit_limit * w.scatter) continue;
        t.curvature += w.fit.shared_curvature;
        t.gradient += w.fit.shared_gradient;
        any_barrel |= w.fit.model.plated;
    }
    add_expectation(sigma, shared.sigma_px, 0, t.curvature, t.gradient, t.chi2);
    add_expectation(barrel, shared.barrel, 1, t.curvature, t.gradient, t.chi2);
    if (!any_barrel) t.curvature(1, 1) += 1e12;
    return t;
}

RimShared stepped(const Testimony& t, double share) {
    const Eigen::Vector2d step = share * t.curvature.inverse() * t.gradient;
    return {std::clamp(t.shared.sigma_px + std::clamp(step[0], -0.3, 0.3), 0.35, 6.0),
            std::clamp(t.shared.barrel + std::clamp(step[1], -0.2, 0.2), 0.0, 0.97)};
}

/// Gauss-Newton with halved strides: wall and barrel level trade along a curved valley, where a full stride
/// can overshoot.
Testimony settle(const TransmissionMap& map, const NoiseModel& noise, std::vector<Witness> witnesses,
                 const RimShared& start, const Estimate& sigma, const Estimate& barrel) {
    Testimony best = hear(map, noise, std::move(witnesses), start, sigma, barrel);
    double share = 1;
    for (int round = 0; round < rounds && share > 0.05; ++round) {
        if (best.curvature(0, 0) <= 0) break;
        const RimShared next = stepped(best, share);
        const double moved =
            std::abs(next.sigma_px - best.shared.sigma_px) + std::abs(next.barrel - best.shared.barrel);
        if (moved < 1e-3) break;
        Testimony trial = hear(map, noise, best.witnesses, next, sigma, barrel);
        if (trial.chi2 < best.chi2) {
            best = std::move(trial);
            share = std::min(1.0, 2 * share);
        } else {
            share *= 0.4;
        }
    }
    return best;
}

} // namespace

HolePriors learn_priors(const TransmissionMap& map, const MaterialMap& materials,
                        std::span<const HoleCandidate> candidates, const BoardBuild& build, Watch& watch) {
    NoiseModel noise = map.noise;
    if (noise.sigma(1.0) < 1e-4) noise.readout = 0.02;
    HolePriors priors;
    const bool measured = map.blur_sigma_px.has_value();
    const double expected = measured ? map.blur_sigma_px.value() : assumed_sigma_px;
    const double expected_u = measured ? std::max(map.blur_sigma_px.u(), 0.05 * expected) : 0.4;
    const Estimate barrel = expected_barrel_level(materials.levels, build);
    priors.shared.sigma_px = expected;
    std::vector<Witness> witnesses;
    int bare = 0, plated = 0;
    bool barrel_started = false;
    for (const HoleCandidate* c : by_size(candidates)) {
        if (watch.cancelled()) throw Cancelled{};
        if (bare >= most_bare && plated >= most_plated) break;
        const RimStart start =
            look_at_rim(map.t.view(), *c, priors.shared.sigma_px, materials.levels.open.value_or(1.0));
        if (!start.usable) continue;
        RimShared trial = priors.shared;
        if (!barrel_started) trial.barrel = barrel.value_or(first_barrel_level(start, trial.sigma_px));
        RimChoice choice = choose_rim(map.t.view(), noise, start, trial, materials.levels);
        int& count = choice.is_plated ? plated : bare;
        if (!choice.decided || !choice.chosen().converged ||
            count >= (choice.is_plated ? most_plated : most_bare))
            continue;
        if (choice.is_plated && !barrel_started) priors.shared.barrel = trial.barrel, barrel_started = true;
        const double scatter = std::max(1.0, choice.chosen().chi2_per_dof());
        if (scatter > misfit_limit) continue;
        witnesses.push_back({choice.chosen(), choice.belief, scatter});
        ++count;
    }
    priors.variance.sigma = expected_u * expected_u;
    if (witnesses.empty()) return priors;
    const Testimony shared =
        settle(map, noise, std::move(witnesses), priors.shared, Estimate::of(expected, expected_u), barrel);
    priors.shared = shared.shared;
    priors.blur_known = true;
    priors.barrel_known = plated > 0;
    const Eigen::Matrix2d covariance = shared.curvature.inverse();
    priors.variance = {covariance(0, 0) + std::pow(model_share * priors.shared.sigma_px, 2),
                       covariance(1, 1) + model_share * model_share, covariance(0, 1)};
    return priors;
}

} // namespace ringwall
