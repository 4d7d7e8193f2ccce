// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

double median_of(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

double land_radius(const Job& job) {
    std::vector<double> ends;
    for (std::size_t i = 0; i < rays; ++i)
        if (job.ring_seen[i].own_end > 0 && job.ring_seen[i].first() > 0)
            ends.push_back(job.ring_seen[i].own_end);
    if (ends.empty())
        for (const RaySight& s : job.sights)
            if (s.own_end > 0 && !s.own_to_the_end) ends.push_back(s.own_end);
    return median_of(ends);
}

/// How far noise and smoothing may move an outline.
double own_margin(const Job& job) {
    return std::max(3.0, 2 * std::hypot(job.levels.blur_px, job.patch.smoothing_px));
}

/// No closed ring: own copper is what the smoothed patch shows joined to the wall.
void own_copper_without_ring(Job& job) {
    const double beyond = own_margin(job);
    int to_the_end = 0, hangs = 0;
    RayFlags far{};
    for (std::size_t i = 0; i < rays; ++i) {
        const RaySight& s = job.sights[i];
        far[i] = s.own_to_the_end || (s.own_end > 0 && s.own_end > job.land_px + beyond);
        to_the_end += s.own_to_the_end ? 1 : 0;
        const bool same = job.patch.wall_label != 0 && s.label == job.patch.wall_label;
        job.of_own_piece[i] = same && s.first > 0;
        hangs += same && s.first > s.own_end + beyond ? 1 : 0;
        if (far[i] && !job.hidden[i]) job.answer[i] = Answer::own;
    }
    // A trace leaves over a few degrees and no other copper hangs on it; a plane surrounds, or fills a broad
    // arc.
    job.runs_on = to_the_end > 60 || hangs > 20;
    if (job.runs_on) {
        job.joined = far;
        return;
    }
    // Beside a trace that leaves, rays meet it from the side: the same copper.
    for (const int step : {1, -1})
        for (int k = 0; k < 2 * rays; ++k) {
            const std::size_t at = idx(step * k), before = idx(step * (k - 1));
            if (job.answer[before] == Answer::own && job.of_own_piece[at] && !job.hidden[at])
                job.answer[at] = Answer::own;
        }
}

/// The neighbourhood of each ray's first copper, for traces and lands that stand alone.
FeatureSeen seen_without_ring(const Job& job) {
    FeatureSeen seen;
    const double blur = job.levels.blur_px, margin = 5 * blur + job.patch.smoothing_px;
    for (std::size_t i = 0; i < rays; ++i) {
        const RaySight& s = job.sights[i];
        seen.from_px[i] = s.first;
        seen.to_px[i] = s.next > s.first ? s.next : s.first + 8;
    }
    for (int i = 0; i < rays; ++i) { // a ray beside the thing looks as far as the nearest that meets it
        double first = 0;
        for (int k = 0; k <= 30 && first == 0; ++k)
            first = std::max(seen.from_px[idx(i + k)], seen.from_px[idx(i - k)]);
        if (first == 0) continue;
        const double clear = std::max(job.wall.radius_px[idx(i)], job.sights[idx(i)].own_end) + 3 * blur;
        seen.least_px[idx(i)] = std::max(clear, first - margin);
        seen.most_px[idx(i)] = first + margin + 4;
    }
    return seen;
}

/// T where an edge near `start_px` has come to rest, averaged along the turn: the first of several planes
/// whose edges follow one another may be the thinnest. 0: not seen.
double level_behind(const Job& job, int ray, double start_px) {
    const int j = static_cast<int>(std::lround((start_px + 2.2 * job.levels.blur_px) / PolarField::pace_px));
    if (j + 1 >= job.field.radii || j < 0) return 0;
    double sum = 0;
    for (int k = -1; k <= 1; ++k) {
        const double t = static_cast<double>(job.field.smooth[job.field.at(ray, j + k)]);
        if (t <= 0) return 0;
        sum += t / 3;
    }
    return sum;
}

} // namespace

void fit_local(Job& job, const std::array<double, rays>& start_px, const RayFlags& from_wall) {
    RayFlags wanted{};
    std::array<double, rays> inner{}, outer{};
    const StepModel& model = job.ring.steps.model;
    const double laminate = job.ring.ok
                                ? model.level[static_cast<std::size_t>(model.walls + job.ring.contour)]
                                : job.levels.laminate;
    for (std::size_t i = 0; i < rays; ++i) {
        wanted[i] = job.answer[i] == Answer::local;
        inner[i] = laminate;
        outer[i] = laminate + level_of(job.levels, std::max(1, job.sights[i].foils)) - job.levels.laminate;
        if (const double seen = level_behind(job, static_cast<int>(i), start_px[i]);
            wanted[i] && seen > 0 && seen < job.levels.copper_below &&
            std::abs(seen - outer[i]) > 0.25 * (laminate - outer[i]))
            outer[i] = seen; // plainly another level than thought
    }
    job.local = local_edges(job.scene(), wanted, from_wall, start_px, inner,
                            agreed_levels(wanted, start_px, outer, job.levels.blur_px));
    for (std::size_t i = 0; i < rays; ++i) {
        if (!wanted[i] || job.local[i].ok) continue;
        const double spread = std::hypot(job.levels.blur_px, job.patch.smoothing_px);
        job.local[i] = {true, start_px[i], 0.5 * spread, 1}; // the smoothed crossing, for what it is worth
    }
}

void answer_rest(Job& job) {
    for (std::size_t i = 0; i < rays; ++i)
        if (job.hidden[i]) job.answer[i] = Answer::hidden;
    if (job.land_px == 0 && job.plated) job.land_px = land_radius(job);
    if (job.ring.ok) return;
    if (job.plated) own_copper_without_ring(job);
    std::array<double, rays> start{};
    RayFlags from_wall{};
    const double beyond = own_margin(job);
    for (std::size_t i = 0; i < rays; ++i) {
        if (job.answer[i] != Answer::none) continue;
        const RaySight& s = job.sights[i];
        // A ragged outline of own copper, met again where it had just ended.
        const bool outline = job.of_own_piece[i] && !job.runs_on && s.first < s.own_end + beyond;
        if (s.first > 0 && !s.neighbour && !outline) {
            job.answer[i] = Answer::local;
            start[i] = s.at_wall ? job.wall.radius_px[i] + job.levels.blur_px : s.first;
            from_wall[i] = !job.plated && s.first - job.wall.radius_px[i] < 6 * job.levels.blur_px;
        } else if ((s.first > 0 && !outline) || job.far_px[i] > 0) {
            job.far_px[i] = s.first > 0 && !outline ? s.first : job.far_px[i];
            job.answer[i] = Answer::far;
        }
    }
    hide_beside_parts(job);
    RingExpectation bare_board;
    bare_board.laminate = job.levels.laminate;
    bare_board.least_foil = bare_board.laminate * job.levels.thin_ratio;
    bare_board.copper = bare_board.foil = job.levels.copper.front();
    fit_features(job, bare_board, seen_without_ring(job), Answer::none);
    fit_local(job, start, from_wall);
}

} // namespace ringwall::rings
