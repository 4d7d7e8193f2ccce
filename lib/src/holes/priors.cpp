// SPDX-License-Identifier: Apache-2.0
#include "holes/fit.hpp"

#include "bridge/parallel.hpp"
#include "holes/cover.hpp"
#include "holes/rim_choice.hpp"
#include "holes/rim_start.hpp"

#include <Eigen/LU>

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

namespace ringwall {

namespace {

constexpr double widest_px = 120; // a larger hole's rim brings more pixels than are needed
constexpr int rounds = 8;
constexpr double blur_doubt = 0.007; // etched copper has sloping walls
constexpr double assumed_sigma_px = 1.2;
constexpr double model_share = 0.003;             // what a Gaussian leaves of a real blur, as a share
constexpr int most_heard = 30;                    // readings a round
constexpr std::size_t batch = 6, first_batch = 2; // readings at a time, with and before a barrel's level
constexpr int enough_large = 2;
constexpr double small_sigmas = 14;    // radius of a barrel, in blur
constexpr double clean_scatter = 1.25; // chi2/dof of a hole that the model fits to the noise
constexpr double first_limit = 6;      // while the blur may still be a fifth wrong
constexpr double misfit_limit = 1.7;   // chi2/dof above which a hole says nothing of what is shared

/// Which witnesses are called and how many: the first ones only lead to the shared values at which the others
/// are read; more than the full number hardly lower u, and cost time.
struct Demand {
    double limit; ///< of chi2/dof
    int most_bare, most_plated;
};
constexpr Demand first_demand{first_limit, 3, 4}, full_demand{misfit_limit, 8, 12};

struct Witness {
    RimFit fit;
    RimBelief belief;
    RimFrame frame;     // pixels and weights, the same at every round
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
    w.fit = fit_rim(map.t.view(), noise, w.fit.model, shared, w.belief, &w.frame);
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
    bridge::over_rows(static_cast<int>(t.witnesses.size()), [&](int first, int last) {
        for (int i = first; i < last; ++i)
            refit(map, noise, shared, t.witnesses[static_cast<std::size_t>(i)]);
    });
    for (const Witness& w : t.witnesses) {
        const double per_dof = std::max(w.fit.chi2_per_dof(), 0.2);
        t.chi2 += w.fit.chi2 / w.scatter;
        if (!w.fit.converged || per_dof > misfit_limit * w.scatter) continue; // lost its way
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

/// Everything the search for the shared values stands on; unchanging while it runs.
struct Inquiry {
    const TransmissionMap& map;
    NoiseModel noise;
    const MaterialLevels& levels;
    std::vector<const HoleCandidate*> candidates;
    Estimate sigma, barrel; ///< expected before any hole is heard
    Watch& watch;
};

/// Copper close behind a bare wall trades with the blur and the bore: such a hole is judged, not heard.
bool narrow_ring(const RimModel& model, const RimShared& shared) {
    if (model.plated) return false;
    for (std::size_t k = 0; k < model.sectors.size(); ++k)
        if (model.sectors[k].used && model.sectors[k].has_step && model.gap_of(k) < 2.5 * shared.sigma_px)
            return true;
    return false;
}

/// A land whose edge comes close behind the plating: level, place and blur of that edge trade with the blur
/// that all share.
bool narrow_land(const RimModel& model) {
    const auto stepped = std::count_if(model.sectors.begin(), model.sectors.end(),
                                       [](const RimSector& s) { return s.used && s.has_step; });
    const auto used =
        std::count_if(model.sectors.begin(), model.sectors.end(), [](const RimSector& s) { return s.used; });
    return model.plated && 4 * stepped > used;
}

/// One candidate read at shared values that are its own only as long as no barrel has started the level.
struct Hearing {
    RimShared shared;
    std::optional<RimChoice> choice;
};

Hearing hear_one(const Inquiry& inquiry, const HoleCandidate& candidate, const RimShared& shared,
                 bool barrel_started) {
    Hearing hearing{shared, {}};
    const double open = inquiry.levels.open.value_or(1.0);
    if (cover_of(inquiry.map, candidate, shared.sigma_px, open) < 1) return hearing; // has levels of its own
    const RimStart start = look_at_rim(inquiry.map.t.view(), candidate, shared.sigma_px, open);
    if (!start.usable) return hearing;
    if (!barrel_started)
        hearing.shared.barrel = inquiry.barrel.value_or(first_barrel_level(start, shared.sigma_px));
    hearing.choice = choose_rim(inquiry.map.t.view(), inquiry.noise, start, hearing.shared, inquiry.levels);
    return hearing;
}

/// Says something of what all holes share.
bool speaks(const Hearing& hearing, const RimShared& shared, double limit) {
    if (!hearing.choice || !hearing.choice->decided) return false;
    const RimFit& fit = hearing.choice->chosen();
    return fit.converged && fit.chi2_per_dof() <= limit && !narrow_ring(fit.model, shared) &&
           !narrow_land(fit.model);
}

/// Witnesses being called: largest holes first, bare and plated ones up to their numbers.
struct Calling {
    Demand demand;
    std::vector<Witness> witnesses;
    int bare = 0, plated = 0, heard = 0;

    [[nodiscard]] bool over(const HoleCandidate& next, double sigma_px) const {
        // Small barrels have narrow lands whose edge hides in the noise and pulls, small bare holes say
        // little: only where no large ones speak.
        return (bare >= demand.most_bare && plated >= demand.most_plated) || heard >= most_heard ||
               (plated >= enough_large && next.radius_px < small_sigmas * sigma_px);
    }
    /// False: there are enough of this kind.
    bool take(const Hearing& hearing) {
        const RimChoice& choice = *hearing.choice;
        int& count = choice.is_plated ? plated : bare;
        if (count >= (choice.is_plated ? demand.most_plated : demand.most_bare)) return false;
        const double scatter = std::max(1.0, choice.chosen().chi2_per_dof());
        witnesses.push_back(
            {choice.chosen(), choice.belief, {choice.chosen().model, hearing.shared}, scatter});
        ++count;
        return true;
    }
};

/// Calls witnesses at given shared values, badly fitted ones sent away. Without an expectation the first
/// barrel's own look starts the barrel level, which then stands in `shared`.
///
/// They are read in batches, all of one at a time; those of a batch that come too late (enough were heard, or
/// a barrel before them started the level) are read for nothing, or again, as if they had been read in turn:
/// neither the batch's size nor the number of threads changes what is heard.
std::vector<Witness> call(const Inquiry& inquiry, RimShared& shared, bool& barrel_started,
                          const Demand& demand) {
    Calling calling{demand, {}};
    const auto& candidates = inquiry.candidates;
    for (std::size_t next = 0; next < candidates.size();) {
        if (calling.over(*candidates[next], shared.sigma_px)) break;
        const std::size_t count = std::min(candidates.size() - next, barrel_started ? batch : first_batch);
        std::vector<Hearing> heard(count);
        bridge::over_each(static_cast<int>(count), inquiry.watch, [&](int i) {
            const auto at = static_cast<std::size_t>(i);
            heard[at] = hear_one(inquiry, *candidates[next + at], shared, barrel_started);
        });
        const bool had_barrel = barrel_started;
        for (const Hearing& hearing : heard) {
            if (had_barrel != barrel_started || calling.over(*candidates[next], shared.sigma_px)) break;
            ++next, ++calling.heard;
            if (!speaks(hearing, shared, demand.limit) || !calling.take(hearing)) continue;
            if (hearing.choice->is_plated && !barrel_started)
                shared.barrel = hearing.shared.barrel, barrel_started = true;
        }
    }
    return std::move(calling.witnesses);
}

/// The bare holes whose edge the model fits to the noise: they tell the blur whatever the barrels are.
std::vector<Witness> clean_bare(const std::vector<Witness>& all, double sigma) {
    std::vector<Witness> out;
    for (const Witness& w : all)
        if (!w.fit.model.plated && w.scatter < clean_scatter && w.fit.model.radius_px > 8 * sigma)
            out.push_back(w);
    return out;
}

bool far_apart(const RimShared& a, const RimShared& b) {
    return std::abs(a.sigma_px - b.sigma_px) > 0.03 * b.sigma_px || std::abs(a.barrel - b.barrel) > 0.08;
}

/// Blur from clean bare holes first; then both values from all; called anew whenever the answer moved so far
/// that holes may have been read wrongly (bare for plated) under the old one.
std::optional<Testimony> inquire(const Inquiry& inquiry, RimShared& shared, bool& barrel_started) {
    auto witnesses = call(inquiry, shared, barrel_started, first_demand);
    if (auto bare = clean_bare(witnesses, shared.sigma_px); !bare.empty()) {
        const RimShared before = shared;
        shared.sigma_px =
            settle(inquiry.map, inquiry.noise, std::move(bare), shared, inquiry.sigma, inquiry.barrel)
                .shared.sigma_px;
        if (far_apart(shared, before)) witnesses = call(inquiry, shared, barrel_started, first_demand);
    }
    std::optional<Testimony> answer;
    for (int round = 0; round < 4 && !witnesses.empty(); ++round) {
        answer =
            settle(inquiry.map, inquiry.noise, std::move(witnesses), shared, inquiry.sigma, inquiry.barrel);
        const bool moved = far_apart(answer->shared, shared);
        shared = answer->shared;
        if (!moved && round > 0) break;
        witnesses = call(inquiry, shared, barrel_started, full_demand);
    }
    return answer;
}

} // namespace

HolePriors learn_priors(const TransmissionMap& map, const MaterialMap& materials,
                        std::span<const HoleCandidate> candidates, const BoardBuild& build, Watch& watch) {
    const bool measured = map.blur_sigma_px.has_value();
    const double expected = measured ? map.blur_sigma_px.value() : assumed_sigma_px;
    const double expected_u = measured ? std::max(map.blur_sigma_px.u(), blur_doubt * expected) : 0.4;
    Inquiry inquiry{.map = map,
                    .noise = map.noise,
                    .levels = materials.levels,
                    .candidates = by_size(candidates),
                    .sigma = Estimate::of(expected, expected_u),
                    .barrel = expected_barrel_level(materials.levels, build),
                    .watch = watch};
    if (inquiry.noise.sigma(1.0) < 1e-4) inquiry.noise.readout = 0.02;
    HolePriors priors;
    priors.shared.sigma_px = expected;
    priors.variance.sigma = expected_u * expected_u;
    bool any_barrel = false;
    const auto answer = inquire(inquiry, priors.shared, any_barrel);
    if (!answer) return priors;
    priors.blur_known = true;
    priors.barrel_known = any_barrel;
    const Eigen::Matrix2d covariance = answer->curvature.inverse();
    priors.variance = {covariance(0, 0) + std::pow(model_share * priors.shared.sigma_px, 2),
                       covariance(1, 1) + model_share * model_share, covariance(0, 1)};
    return priors;
}

} // namespace ringwall
