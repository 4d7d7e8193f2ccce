// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace rings {
namespace {

void give_up(Hole& hole, std::string why) {
    hole.keepout = KeepOut{};
    hole.keepout.why = why;
    hole.keepout.min_px = Estimate::missing(std::move(why));
}

void take_blur(const Estimate& blur_px, RingLevels& levels) {
    levels.blur_px = std::max(blur_px.value(), 0.4);
    levels.blur_u_px = std::max(blur_px.u(), 0.01 * levels.blur_px);
}

/// Looks for copper half as dark as the thinnest that must be assumed, where that is less than half the
/// thinnest that the levels tell. Not below what an uneven background can look like.
void look_for_thin_copper(double share, RingLevels& levels) {
    constexpr double least_told = 0.03; // of the laminate's T
    if (share > 0)
        levels.thin_ratio = std::max(levels.thin_ratio, std::min(std::sqrt(1 - share), 1 - least_told));
}

CopperSight sight_of(const Job& job) {
    const RingLevels& levels = job.levels;
    const double smoothing = job.patch.smoothing_px, bin = job.patch.bin;
    const bool ring = job.ring.ok;
    return {.laminate = levels.laminate,
            .noise = levels.noise.sigma(levels.laminate) * std::sqrt(std::max(1.0, levels.noise.correlation)),
            .blur_px = levels.blur_px,
            .alternative = ring ? levels.laminate * (1 - levels.thin_ratio) : 0,
            .evidence = enough_evidence,
            .threshold = levels.laminate - levels.copper_below,
            .smooth_noise = job.patch.noise,
            .smoothing_px = smoothing,
            .least_area_px2 = least_piece(std::max(smoothing / bin, 0.5)) * bin * bin,
            .small_z = deep_z};
}

/// A job on the hole before any look; picture_levels.why_not says what forbids it.
Job job_on(const TransmissionMap& map, const MaterialMap& materials, Hole& hole,
           std::span<const Hole> neighbours, const RingOptions& options) {
    Job job{.map = map, .hole = hole, .neighbours = neighbours, .options = options};
    job.picture_levels = ring_levels(map, materials);
    if (hole.blur_px)
        take_blur(hole.blur_px, job.picture_levels); // better known than by the picture's edges alone
    if (map.t_is_physical) look_for_thin_copper(options.least_copper_share, job.picture_levels);
    job.levels = job.picture_levels;
    job.wall = wall_line(hole);
    job.plated = hole.wall.state != WallState::bare;
    job.wall_zone_px = (job.plated ? 3.0 : 2.0) * job.levels.blur_px;
    return job;
}

/// Looks and fits; false: the neighbourhood's levels forbid it.
bool look_and_fit(Job& job) {
    look_around(job);
    if (!job.levels.why_not.empty()) return false;
    fit_contour(job);
    job.hole.keepout.sight = sight_of(job);
    answer_rest(job);
    return true;
}

void finish(Job& job) {
    fill_profile(job);
    settle(job);
    if (job.hole.kind == HoleKind::via) job.hole.keepout.profile.clear();
}

} // namespace
} // namespace rings

void measure_ring(const TransmissionMap& map, const MaterialMap& materials, Hole& hole,
                  std::span<const Hole> neighbours, const RingOptions& options) {
    using namespace rings;
    hole.keepout = KeepOut{};
    if (hole.kind == HoleKind::slot) return give_up(hole, "a slot: its ring is not measured");
    // Where the body ends, levels change, and copper beyond it can look like laminate under it.
    if (hole.cover < 1)
        return give_up(hole, "a part's body lies in front of the whole hole and dims its surroundings");
    if (hole.wall.state == WallState::undecided) return give_up(hole, "plated or bare is undecided");
    Job job = job_on(map, materials, hole, neighbours, options);
    if (!job.levels.why_not.empty()) return give_up(hole, job.levels.why_not);
    if (!job.wall.valid) return give_up(hole, "the hole's wall was not measured");
    if (!look_and_fit(job)) return give_up(hole, job.levels.why_not);
    std::vector<Body> bodies = bodies_among_answers(job);
    if (bodies.empty()) return finish(job);
    Job again = job_on(map, materials, hole, neighbours, options);
    again.bodies = std::move(bodies);
    if (!look_and_fit(again)) return give_up(hole, again.levels.why_not);
    finish(again);
}

} // namespace ringwall
