// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

/// Looks in turn, each only when the one before left much of the turn open: most rings lie near.
constexpr std::array<double, 2> near_reach_px{44, 96};
constexpr double rim_px = 8; ///< outermost part of a patch, where its smoothing lacks neighbours

/// Foils of a plane that a plated hole is joined to all round: the ring of the other planes lies in its
/// copper.
int ground_of(const Job& job) {
    if (!job.plated) return 0;
    std::array<int, 12> votes{};
    int joined = 0, looked = 0;
    for (const RingSight& s : job.ring_seen) {
        if (s.least_foils > 11) continue;
        ++looked;
        if (s.least_foils == 0) continue;
        ++joined;
        ++votes[static_cast<std::size_t>(s.least_foils)];
    }
    if (10 * joined < 7 * looked) return 0;
    return static_cast<int>(std::max_element(votes.begin() + 1, votes.end()) - votes.begin());
}

void look(Job& job, double reach_px) {
    job.reach_px = reach_px;
    job.levels = job.picture_levels;
    job.patch =
        make_patch(job.map, job.levels, job.hole, job.wall, job.neighbours, reach_px, job.wall_zone_px, 1);
    job.sights =
        scan(job.patch, job.levels, job.hole, job.wall, job.neighbours, job.wall_zone_px, reach_px - rim_px);
    job.field = polar_field(job.scene(), job.wall.largest_px + reach_px - rim_px);
    job.ring_seen = ring_sights(job.scene(), job.field, job.wall_zone_px, 0);
    job.ground = ground_of(job);
    if (job.ground > 0) job.ring_seen = ring_sights(job.scene(), job.field, job.wall_zone_px, job.ground);
    job.searched_px = job.wall.largest_px + reach_px - rim_px;
}

bool answered(const RaySight& s) {
    return s.first > 0 || s.own_to_the_end || s.hidden || s.cut;
}

/// Rays that met nothing near look on in blocks of two by two pixels.
void look_far(Job& job) {
    RingLevels levels = job.picture_levels;
    const Patch far = make_patch(job.map, levels, job.hole, job.wall, job.neighbours,
                                 job.options.search_px + rim_px, job.wall_zone_px, 2);
    const auto sights =
        scan(far, levels, job.hole, job.wall, job.neighbours, job.wall_zone_px, job.options.search_px);
    for (std::size_t i = 0; i < rays; ++i) {
        if (answered(job.sights[i]) || job.ring_seen[i].first() > 0) continue;
        if (sights[i].first > job.searched_px) job.far_px[i] = sights[i].first;
        if (sights[i].hidden) job.sights[i].hidden = true;
        if (sights[i].cut) job.sights[i].cut = true;
    }
    job.searched_px = job.wall.largest_px + job.options.search_px;
}

/// Own copper as far as was looked: a wide land, or a plane joined to the hole.
bool own_goes_on(const Job& job) {
    return std::count_if(job.sights.begin(), job.sights.end(),
                         [](const RaySight& s) { return s.own_to_the_end; }) > 30;
}

/// A ring so near the end of the look that its copper's level cannot be read.
bool ring_near_the_end(const Job& job) {
    int late = 0;
    for (const RingSight& s : job.ring_seen)
        late += s.first() > job.searched_px - 6 * job.levels.blur_px - 4 ? 1 : 0;
    return late > 20;
}

} // namespace

std::uint64_t Job::seed() const {
    std::uint64_t h = options.seed;
    for (const double v : {hole.centre_px.x, hole.centre_px.y})
        h = (h ^ static_cast<std::uint64_t>(std::llround(v * 64))) * 0xff51afd7ed558ccdULL +
            0x9e3779b97f4a7c15ULL;
    return h;
}

void look_around(Job& job) {
    const auto open_rays = [&](int& met) {
        int open = 0;
        met = 0;
        for (std::size_t i = 0; i < rays; ++i) {
            const bool seen =
                job.sights[i].first > 0 || job.ring_seen[i].first() > 0 || job.sights[i].own_to_the_end;
            met += seen ? 1 : 0;
            open += !seen && !answered(job.sights[i]) ? 1 : 0;
        }
        return open;
    };
    int met = 0, open = 0;
    for (const double reach : near_reach_px) {
        look(job, std::min(reach, job.options.search_px + rim_px));
        open = open_rays(met);
        if (open < 40 && !ring_near_the_end(job) && !own_goes_on(job)) break;
    }
    if (open > 0 && job.options.search_px > near_reach_px.back()) {
        if (met == 0)
            look(job, job.options.search_px + rim_px); // whatever is there decides the smallest gap
        else
            look_far(job);
    }
    job.hidden = rays_in(job.hole.hidden_arcs);
    const RayFlags over_bore = parts_over_bore(job);
    for (std::size_t i = 0; i < rays; ++i)
        if (job.sights[i].hidden || over_bore[i]) job.hidden[i] = true;
}

} // namespace ringwall::rings
