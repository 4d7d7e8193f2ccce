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

/// No closed ring: own copper is what the smoothed patch shows joined to the wall.
void own_copper_without_ring(Job& job) {
    const double spread = std::hypot(job.levels.blur_px, job.patch.smoothing_px);
    const double beyond = std::max(3.0, 2 * spread);
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
    if (job.runs_on) job.joined = far;
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
    }
    job.local = local_edges(job.scene(), wanted, from_wall, start_px, inner, outer);
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
    for (std::size_t i = 0; i < rays; ++i) {
        if (job.answer[i] != Answer::none) continue;
        const RaySight& s = job.sights[i];
        if (s.first > 0 && !s.neighbour) {
            job.answer[i] = Answer::local;
            start[i] = s.at_wall ? job.wall.radius_px[i] + job.levels.blur_px : s.first;
            from_wall[i] = !job.plated && s.first - job.wall.radius_px[i] < 6 * job.levels.blur_px;
        } else if (s.first > 0 || job.far_px[i] > 0) {
            job.far_px[i] = s.first > 0 ? s.first : job.far_px[i];
            job.answer[i] = Answer::far;
        }
    }
    hide_beside_parts(job);
    RingExpectation bare_board;
    bare_board.laminate = job.levels.laminate;
    bare_board.copper = bare_board.foil = job.levels.copper.front();
    fit_features(job, bare_board, seen_without_ring(job), Answer::none);
    fit_local(job, start, from_wall);
}

} // namespace ringwall::rings
