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

/// T of the patch `past_px` outside the wall, as half the turn has it; 0: too little of the turn is seen.
double median_t(const Job& job, double past_px) {
    std::vector<float> seen;
    for (int ray = 0; ray < rays; ++ray) {
        const Point d = ray_direction(ray);
        const double rho = job.wall.radius_px[idx(ray)] + past_px;
        const int x = static_cast<int>(std::lround(job.patch.centre.x + rho * d.x));
        const int y = static_cast<int>(std::lround(job.patch.centre.y + rho * d.y));
        if (job.patch.contains(x, y) && job.patch.use[job.patch.at(x, y)] == Use::free)
            seen.push_back(job.patch.smooth[job.patch.at(x, y)]);
    }
    if (seen.size() < rays / 2) return 0;
    const auto middle = seen.begin() + static_cast<std::ptrdiff_t>(seen.size() / 2);
    std::nth_element(seen.begin(), middle, seen.end());
    return static_cast<double>(*middle);
}

/// T of the copper that a plated hole stands in, where that is so much thinner than all copper of the picture
/// that noise would throw it to either side of the half level: a land of one foil where planes lie two deep.
/// 0: no such copper.
double thin_foot_t(const Job& job) {
    const RingLevels& levels = job.picture_levels;
    if (!job.plated || levels.wandering) return 0;
    double foot = 0, deepest = 1, flattest = 0;
    for (const double past : {0.5, 1.5, 2.5}) {
        const double t = median_t(job, job.wall_zone_px + past);
        foot += t / 3;
        deepest = std::min(deepest, t);
        flattest = std::max(flattest, t);
    }
    const double step = levels.step(), share = (levels.laminate - foot) / step;
    return share > 0.3 && share < 0.75 && flattest - deepest < 0.2 * step ? foot : 0;
}

/// `picture` with copper of T `thin_t` told from laminate too.
RingLevels with_thin_copper(const RingLevels& picture, double thin_t) {
    RingLevels out = picture;
    out.copper.insert(out.copper.begin(), thin_t);
    out.fine_step = std::min(picture.fine_step, out.step());
    out.copper_below = out.laminate - 0.5 * out.fine_step;
    return out;
}

void look(Job& job, double reach_px) {
    job.reach_px = reach_px;
    const auto patch_of = [&](const RingLevels& levels) {
        job.levels = levels;
        job.patch = make_patch(job.map, job.levels, job.hole, job.wall, job.neighbours, job.bodies, reach_px,
                               job.wall_zone_px, 1);
    };
    patch_of(job.picture_levels);
    if (const double thin_t = thin_foot_t(job); thin_t > 0)
        patch_of(with_thin_copper(job.picture_levels, thin_t));
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
    const Patch far = make_patch(job.map, levels, job.hole, job.wall, job.neighbours, job.bodies,
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

struct Look {
    int open = 0;            ///< rays that met nothing at all
    double nearest_px = 1e9; ///< of copper that does not hang on the hole
};
Look look_of(const Job& job) {
    Look out;
    double nearest_mean =
        1e9; // as means along the turn show it, which noise deceives on a ray here and there
    int means = 0;
    for (std::size_t i = 0; i < rays; ++i) {
        const RaySight& s = job.sights[i];
        if (const double first = job.ring_seen[i].first(); first > 0)
            nearest_mean = std::min(nearest_mean, first), ++means;
        const bool seen = s.first > 0 || job.ring_seen[i].first() > 0 || s.own_to_the_end;
        out.open += !seen && !answered(s) ? 1 : 0;
        const bool own = job.plated && (s.own_to_the_end || s.first == 0 || s.label == job.patch.wall_label);
        if (seen && !own && s.first > 0) out.nearest_px = std::min(out.nearest_px, s.first);
    }
    if (means > 30) out.nearest_px = std::min(out.nearest_px, nearest_mean);
    return out;
}

double nearest_far(const Job& job) {
    double nearest = 1e9;
    for (const double far : job.far_px)
        if (far > 0) nearest = std::min(nearest, far);
    return nearest;
}

/// The nearest copper lies in the far field and decides the smallest gap: looks at it pixel by pixel.
void look_closer(Job& job, double nearest) {
    const double searched = job.searched_px;
    const std::array<RaySight, rays> sights = job.sights;
    const double behind = rim_px + 20 + 6 * job.levels.blur_px;
    look(job, std::min(nearest - job.wall.largest_px + behind, job.options.search_px + rim_px));
    job.searched_px = searched;
    for (std::size_t i = 0; i < rays; ++i) {
        if (job.sights[i].first > 0) job.far_px[i] = 0;
        job.sights[i].hidden = job.sights[i].hidden || sights[i].hidden;
        job.sights[i].cut = job.sights[i].cut || sights[i].cut;
    }
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
    const double search = job.options.search_px + rim_px;
    Look found;
    for (const double reach : near_reach_px) {
        look(job, std::min(reach, search));
        found = look_of(job);
        if (found.open < 40 && !ring_near_the_end(job) && !own_goes_on(job)) break;
    }
    if (found.open > 0 && job.options.search_px > near_reach_px.back()) {
        look_far(job);
        if (const double far = nearest_far(job); far < found.nearest_px) look_closer(job, far);
    }
    job.hidden = rays_in(job.hole.hidden_arcs);
    const RayFlags over_bore = parts_over_bore(job);
    for (std::size_t i = 0; i < rays; ++i)
        if (job.sights[i].hidden || over_bore[i]) job.hidden[i] = true;
}

} // namespace ringwall::rings
