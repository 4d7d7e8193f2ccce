// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace ringwall::rings {
namespace {

constexpr double lost_ray_px = 5; // u of a ray's gap

// ---- states
// -------------------------------------------------------------------------------------------------------

/// Rays on which no gap is shown: a contour's own sign tells, a ray's own edge only within its noise. Breaks
/// of a few degrees in an arc and specks of it are noise.
RayFlags touching_rays(const Job& job, int smallest_ray) {
    RayFlags raw{};
    for (const GapOfRay& gap : job.gaps) {
        const double common = gap.slope.dot(job.covariance * gap.slope);
        const double u = std::sqrt(std::max(common, 0.0) + gap.u_own_px * gap.u_own_px);
        const bool own_edge = job.answer[idx(gap.ray)] == Answer::local;
        raw[idx(gap.ray)] = gap.gap_px < (own_edge ? 1.645 : 0.5) * u;
    }
    constexpr int speck = 2, gap_in_arc = 4;
    const auto grown = [](const RayFlags& in, int by, bool value) {
        RayFlags out = in;
        for (int i = 0; i < rays; ++i)
            for (int k = -by; k <= by && in[idx(i)] == value; ++k)
                out[idx(i + k)] = value;
        return out;
    };
    RayFlags flags = grown(grown(raw, gap_in_arc, true), gap_in_arc + speck, false);
    flags = grown(flags, speck, true);
    flags[idx(smallest_ray)] = true;
    return flags;
}

/// No model of an edge is right to much better than this, however low the noise: a smaller gap is never ruled
/// out (common practice, no source).
constexpr double least_gap_px = 0.2;

/// Widest gap that may hide in the blur of one edge along `length_px` of wall. A step of share f of the whole
/// and the rest of it a gap g apart look like one edge, a little further out, whose variance is larger by
/// f (1 - f) g^2 (the two steps' second moment about their mean): g is lost where that is less than the
/// blur's own uncertainty, the picture's and that of an edge of this length, allow. No gap's slope at 0 tells
/// of it, so that no covariance holds it.
double gap_lost_in_blur(const Job& job, double length_px) {
    constexpr double pi = std::numbers::pi;
    const RingLevels& levels = job.levels;
    const double whole = levels.open - levels.copper.front(), blur = levels.blur_px;
    const double share = std::clamp((levels.laminate - levels.copper.front()) / whole, 0.01, 0.99);
    const double noise = levels.noise.sigma(0.5 * (levels.open + levels.copper.front()));
    const double correlation = std::max(1.0, levels.noise.correlation);
    // Of an edge's blur, twice the variance of its place: 2 sqrt(pi) blur noise^2 / (step^2 length).
    const double of_edge2 =
        4 * std::sqrt(pi) * blur * noise * noise * correlation / (whole * whole * std::max(length_px, blur));
    const double u = std::sqrt(levels.blur_u_px * levels.blur_u_px + of_edge2);
    return std::sqrt(2 * blur * 1.645 * u / (share * (1 - share)));
}

void mark_touching(Job& job, const Smallest& smallest) {
    KeepOut& keepout = job.hole.keepout;
    keepout.state = KeepOutState::touching;
    const RayFlags touching = touching_rays(job, smallest.ray);
    keepout.touching_arcs = arcs_of(touching);
    const double length_px = static_cast<double>(std::count(touching.begin(), touching.end(), true)) *
                             std::numbers::pi / 180 * job.wall.mean_px;
    keepout.largest_gap_not_excluded_px =
        std::max({smallest.high_px, 1.645 * smallest.u_px, least_gap_px,
                  std::min(0.0, smallest.value_px) + gap_lost_in_blur(job, length_px)});
    keepout.min_px = Estimate::of(0, keepout.largest_gap_not_excluded_px / 2);
    keepout.p_low_px = 0;
}

void add_budget(Job& job, const Smallest& smallest) {
    std::vector<BudgetLine>& lines = job.hole.budget_px;
    const auto add = [&](const char* component, double variance) {
        const double total = smallest.u_px * smallest.u_px;
        lines.push_back({"keepout_min_px", component, std::sqrt(std::max(0.0, variance)),
                         total > 0 ? std::clamp(variance / total, 0.0, 1.0) : 0});
    };
    const auto gap = std::find_if(job.gaps.begin(), job.gaps.end(),
                                  [&](const GapOfRay& g) { return g.ray == smallest.ray; });
    const Eigen::Index n = job.wall_at;
    const Eigen::VectorXd tail = gap->slope.segment(n, 3);
    add("hole edge", tail.dot(job.covariance.block(n, n, 3, 3) * tail));
    const Eigen::Index features = job.covariance.rows() - n - 3;
    const Eigen::VectorXd of_features = gap->slope.tail(features);
    double noise = gap->u_own_px * gap->u_own_px +
                   of_features.dot(job.covariance.bottomRightCorner(features, features) * of_features);
    if (n > 0 && job.answer[idx(smallest.ray)] == Answer::contour) {
        const StepModel& model = job.ring.steps.model;
        const int shift = model.shift_index(), blur = model.blur_index();
        const double widen = std::max(1.0, job.ring.steps.chi2) * std::max(1.0, job.map.noise.correlation);
        // Variance with everything from index `from` on free: contours alone, then the wall and the blur as
        // well.
        const auto with = [&](int from) {
            const Eigen::Index m = n - from;
            const Eigen::VectorXd f = gap->slope.segment(from, m);
            return widen * f.dot(job.ring.steps.information.bottomRightCorner(m, m).ldlt().solve(f));
        };
        const double and_wall = with(shift), and_blur = with(blur), all = with(0);
        noise += and_wall;
        add("blur", and_blur - and_wall);
        add("level choice", all - and_blur);
    }
    add("noise", noise);
}

/// Sharpening in the cabinet or an editor draws a dark rim beside every bright thing: copper so near to the
/// hole may be that rim.
bool within_halo(const Job& job, const Smallest& smallest) {
    constexpr double sharpened = 0.05, reach_px = 3; // of the usual filters' half width
    return job.levels.wandering && job.map.halo > sharpened &&
           smallest.value_px < reach_px + 3 * job.levels.blur_px;
}

/// Rays whose fit came out with more uncertainty than gap say nothing of where the copper is; drawn in the
/// bootstrap they would stand for any minimum.
void drop_lost_rays(Job& job) {
    std::erase_if(job.gaps, [&](const GapOfRay& gap) {
        const double common = gap.slope.size() ? gap.slope.dot(job.covariance * gap.slope) : 0.0;
        const double u_px = std::sqrt(std::max(common, 0.0) + gap.u_own_px * gap.u_own_px);
        return u_px > std::max(lost_ray_px, gap.gap_px);
    });
}

void leave_undecided(KeepOut& keepout, std::string why) {
    keepout.state = KeepOutState::undecided;
    keepout.why = std::move(why);
    keepout.min_px = Estimate::missing(keepout.why);
}

/// Gap to the wall of the nearest plated neighbour that stands in a hidden direction: plating is copper,
/// whatever hides what lies before it.
double hidden_neighbour_px(const Job& job) {
    double nearest = 1e9;
    for (const Hole& other : job.neighbours) {
        if (other.wall.state != WallState::plated && other.wall.state != WallState::incomplete) continue;
        const double dx = other.centre_px.x - job.hole.centre_px.x,
                     dy = other.centre_px.y - job.hole.centre_px.y;
        const double away = std::hypot(dx, dy);
        if (away < 1) continue;
        const int ray = static_cast<int>(std::lround(std::atan2(-dy, dx) * 180 / std::numbers::pi));
        if (job.answer[idx(ray)] != Answer::hidden) continue;
        nearest = std::min(nearest, away - job.wall.radius_px[idx(ray)] - other.drill_px.value_or(0) / 2);
    }
    return nearest;
}

/// A smallest gap that a plated hole in a hidden direction contradicts is none.
void settle_on_neighbours(Job& job) {
    KeepOut& keepout = job.hole.keepout;
    const bool open = keepout.state == KeepOutState::none_in_view;
    if (!open && keepout.state != KeepOutState::ring_seen) return;
    const double nearest = hidden_neighbour_px(job),
                 found = open ? keepout.searched_to_px - job.wall.mean_px : keepout.min_px.value_or(0);
    if (nearest < found - 2)
        leave_undecided(
            keepout, "a plated hole stands nearer than any copper seen, and what lies before it is hidden");
}

void settle_on_seen(Job& job) {
    KeepOut& keepout = job.hole.keepout;
    keepout.own_outer_px = job.land_px;
    keepout.searched_to_px = job.searched_px;
    if (job.runs_on) {
        keepout.state = KeepOutState::runs_on;
        keepout.runs_on_arcs = arcs_of(job.joined);
        keepout.min_px = Estimate::missing("own copper runs on into all copper seen round the hole");
    }
    drop_lost_rays(job);
    if (job.gaps.empty()) {
        if (job.runs_on) return;
        const auto dark = std::count(job.hidden.begin(), job.hidden.end(), true);
        keepout.state = dark > rays / 2 ? KeepOutState::undecided : KeepOutState::none_in_view;
        keepout.why = dark > rays / 2 ? "a part, or dense copper of its own, hides most of the ring" : "";
        keepout.min_px =
            Estimate::missing(keepout.why.empty() ? "no copper within the search radius" : keepout.why);
        return;
    }
    const Smallest smallest = smallest_gap(job.gaps, job.covariance, job.options.confidence,
                                           job.options.bootstrap_draws, job.seed());
    keepout.min_angle_deg = smallest.ray;
    double mean = 0;
    for (const GapOfRay& gap : job.gaps)
        mean += std::max(0.0, gap.gap_px) / static_cast<double>(job.gaps.size());
    keepout.mean_px = Estimate::of(mean, smallest.u_px);
    add_budget(job, smallest);
    if (within_halo(job, smallest))
        return leave_undecided(keepout,
                               "the picture was sharpened: copper so near cannot be told from the dark "
                               "rim that sharpening draws round the hole");
    if (job.unclear_gap_px < smallest.value_px)
        return leave_undecided(keepout,
                               "copper so faint that it may be the hole's own or another's lies nearer "
                               "than any that is plainly another's");
    // A gap is called seen when contact is 20 times less likely: 2.5 sigma.
    if (!job.plated && smallest.value_px < 2.5 * smallest.u_px) {
        if (smallest.high_px < std::max(2.4 * job.levels.blur_px, 3.0)) return mark_touching(job, smallest);
        return leave_undecided(keepout, "noise hides whether copper touches the wall");
    }
    if (smallest.value_px < 2.5 * smallest.u_px) { // the same for a plated hole, whose own copper may touch
        if (!job.runs_on)
            return leave_undecided(keepout, "noise hides where the nearest foreign copper ends");
        keepout.min_px = Estimate::missing("noise hides where the nearest foreign copper ends");
        return;
    }
    if (!job.runs_on) keepout.state = KeepOutState::ring_seen;
    keepout.min_px = Estimate::of(std::max(0.0, smallest.value_px), smallest.u_px);
    keepout.p_low_px = std::max(0.0, smallest.low_px);
}

} // namespace

void settle(Job& job) {
    settle_on_seen(job);
    settle_on_neighbours(job);
}

} // namespace ringwall::rings
