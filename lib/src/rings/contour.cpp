// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"
#include "rings/vias.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace ringwall::rings {
namespace {

/// Half-height radius of the innermost plane on a ray.
double edge_along(const Job& job, int ray) {
    const std::vector<Contour>& contours = job.ring.steps.model.contours;
    const auto first = static_cast<std::size_t>(job.ring.contour);
    double rho = contours[first].along(ray_direction(ray));
    bool stood = stands_on(job, first, ray);
    for (std::size_t c = first + 1; c < contours.size(); ++c) {
        if (!stands_on(job, c, ray)) continue;
        const double at = contours[c].along(ray_direction(ray));
        rho = stood ? std::min(rho, at) : at;
        stood = true;
    }
    return rho;
}

/// Copper that comes up to the wall all round shows no contour to fit.
bool mostly_in_the_air(const Job& job) {
    if (job.ring.steps.model.walls != 1) return false;
    int used = 0, inside = 0;
    for (int i = 0; i < rays; ++i) {
        if (!job.ring.followed[idx(i)]) continue;
        ++used;
        inside += edge_along(job, i) < job.wall.radius_px[idx(i)] ? 1 : 0;
    }
    return 2 * inside > used;
}

RingExpectation expectation(const Job& job) {
    RingExpectation out;
    const StepModel& model = job.ring.steps.model;
    const auto laminate = static_cast<std::size_t>(model.walls + job.ring.contour);
    out.laminate = model.level[laminate];
    out.copper = *std::min_element(model.level.end() - model.sectors, model.level.end());
    out.foil = out.laminate * job.levels.copper.front() / job.levels.laminate;
    out.least_foil = out.laminate * job.levels.thin_ratio;
    if (job.ring.contour == 1) out.land = model.level[0];
    for (std::size_t c = static_cast<std::size_t>(job.ring.contour); c < model.contours.size(); ++c) {
        const int passed = model.walls + static_cast<int>(c);
        out.steps.emplace_back();
        out.planes.emplace_back();
        for (int i = 0; i < rays; ++i) {
            out.steps.back()[idx(i)] = model.level[static_cast<std::size_t>(model.level_at(passed + 1, i))] -
                                       model.level[static_cast<std::size_t>(model.level_at(passed, i))];
            out.planes.back()[idx(i)] = model.contours[c].along(ray_direction(i));
        }
    }
    for (int i = 0; i < rays; ++i) {
        out.edge_px[idx(i)] = edge_along(job, i);
        out.land_px[idx(i)] = job.ring.contour == 1 ? model.contours[0].along(ray_direction(i)) : 0;
    }
    return out;
}

/// Where the hole's own land ends on a ray, traces and spokes that leave it not counted; 0: no land.
std::array<double, rays> land_ends(const Job& job, const RingExpectation& ring) {
    std::array<double, rays> out = ring.land_px;
    if (job.ring.contour == 1 || !job.plated) return out;
    std::vector<double> ends;
    for (const RingSight& s : job.ring_seen)
        if (s.own_end > 0) ends.push_back(s.own_end);
    if (ends.size() < rays / 4) return out;
    const auto middle = ends.begin() + static_cast<std::ptrdiff_t>(ends.size() / 2);
    std::nth_element(ends.begin(), middle, ends.end());
    for (std::size_t i = 0; i < rays; ++i)
        out[i] = std::min(job.ring_seen[i].own_end, *middle + 2 * job.levels.blur_px);
    return out;
}

/// Own copper that ends at a via of its own plane goes on behind it.
void pass_own_vias(const Job& job, RingExpectation& ring) {
    const std::array<OwnVia, rays> vias = own_vias(job, ring);
    for (std::size_t i = 0; i < rays; ++i)
        if (vias[i].to_px > 0 && ring.own_px[i] > vias[i].from_px - 3 * job.levels.blur_px)
            ring.own_px[i] = std::max(ring.own_px[i], vias[i].to_px);
}

/// Rays of `seen` on which copper begins where own copper round the hole ends, no laminate between.
RayFlags from_own_copper(const Job& job, const RingExpectation& ring,
                         const std::array<Departure, rays>& seen) {
    RayFlags near{}, out{};
    if (!job.plated) return out;
    const double blur = job.levels.blur_px;
    const auto clear = [&](int i) { // of own copper's blur
        return std::max(ring.own_px[idx(i)] + 2 * blur, job.wall.radius_px[idx(i)] + 3 * blur);
    };
    for (int i = 0; i < rays; ++i)
        near[idx(i)] = seen[idx(i)].found && seen[idx(i)].from_px < clear(i) + 3 * blur;
    for (const auto& [first, count] : runs_of(near)) {
        double gain = 0;
        for (int i = first + count / 4; i < first + count - count / 4; ++i)
            gain += copper_gain(job.scene(), job.field, ring, ((i % rays) + rays) % rays, 0, clear(i),
                                clear(i) + 1.2 * blur);
        for (int i = first; i < first + count && gain > 0; ++i)
            out[idx(i)] = near[idx(i)];
    }
    return out;
}

/// Copper found in the ring of a plated hole that does not begin at own copper, as far as noise lets it be
/// seen: own copper where likelihood says that it goes on to the hole (added to `from_own`), and no one's
/// where it does not say.
RayFlags unclear_whose(Job& job, const RingExpectation& ring, const std::array<Departure, rays>& seen,
                       RayFlags& from_own) {
    constexpr double says = 3; // log likelihood: 20 to 1
    RayFlags out{}, apart{};
    if (!job.plated) return out;
    const double blur = job.levels.blur_px;
    for (std::size_t i = 0; i < rays; ++i)
        apart[i] = seen[i].found && !from_own[i] && !job.hidden[i];
    for (const auto& [first, count] : runs_of(apart)) {
        double gain = 0;
        for (int i = first + count / 4; i < first + count - count / 4; ++i) {
            const std::size_t at = idx(i);
            const double clear = std::max(ring.own_px[at] + 2 * blur, job.wall.radius_px[at] + 3 * blur);
            if (seen[at].found)
                gain += copper_gain(job.scene(), job.field, ring, static_cast<int>(at), 0, clear,
                                    seen[at].from_px - blur);
        }
        if (gain == 0)
            continue; // nothing to look at in between (a neighbour hides it): likelihood has no say
        for (int i = first; i < first + count && gain > -says; ++i) {
            const std::size_t at = idx(i);
            if (!apart[at]) continue;
            (gain > says ? from_own : out)[at] = true;
            if (gain <= says)
                job.unclear_gap_px = std::min(job.unclear_gap_px, seen[at].from_px - job.wall.radius_px[at]);
        }
    }
    return out;
}

/// Rays on which the picture contradicts the contour get an answer of their own.
void judge_rays(Job& job, const RingExpectation& ring) {
    const double blur = job.levels.blur_px;
    std::array<double, rays> inner{}, outer{}, start{}, behind{}, beyond{};
    for (std::size_t i = 0; i < rays; ++i) {
        const double wall = job.wall.radius_px[i] + (job.plated ? 3 : 2.5) * blur;
        inner[i] =
            ring.land_px[i] > 0 ? std::max(wall, ring.land_px[i]) : std::max(wall, ring.own_px[i] + 2 * blur);
        outer[i] = ring.edge_px[i];
        behind[i] = std::max(wall, ring.edge_px[i]);
        beyond[i] = behind[i] + 25;
    }
    const auto nearer = departures(job.scene(), job.field, ring, true, inner, outer);
    const auto further = departures(job.scene(), job.field, ring, false, behind, beyond);
    RayFlags from_own_end = from_own_copper(job, ring, nearer);
    const RayFlags unclear = unclear_whose(job, ring, nearer, from_own_end);
    RayFlags from_wall{}, bridge{};
    FeatureSeen seen;
    seen.passes_px = 8 * blur;
    for (int i = 0; i < rays; ++i) {
        const std::size_t at = idx(i);
        seen.from_px[at] = nearer[at].from_px;
        seen.to_px[at] = nearer[at].to_px;
        seen.least_px[at] =
            ring.land_px[at] > 0 ? std::max(inner[at], ring.land_px[at] + 1.5 * blur) : inner[at];
        seen.most_px[at] = ring.edge_px[at] - 2.5 * blur;
        // Copper that begins where own copper ends is joined to it; it ends in the ring, or bridges it.
        const bool from_own = from_own_end[at];
        const bool bridges = from_own && nearer[at].to_px > outer[at] - 2 * blur;
        if (job.hidden[at]) {
            bridge[at] = nearer[at].found && bridges;
            continue;
        }
        job.answer[at] = Answer::contour;
        if (unclear[at]) {
            job.answer[at] = Answer::merged;
        } else if (nearer[at].found && from_own) {
            bridge[at] = bridges;
        } else if (nearer[at].found) {
            job.answer[at] = Answer::local;
            start[at] = nearer[at].from_px;
            from_wall[at] = !job.plated && start[at] < job.wall.radius_px[at] + 6 * blur;
            if (start[at] < inner[at] + 1) start[at] = job.wall.radius_px[at] + blur;
        } else if (further[at].found && further[at].from_px < behind[at] + 2.5 * blur) {
            job.answer[at] = Answer::local;
            start[at] = further[at].to_px;
            from_wall[at] = !job.plated && start[at] < job.wall.radius_px[at] + 6 * blur;
        } else if (!job.ring.followed[at] && job.ring_seen[at].first() == 0 && job.far_px[at] > 0) {
            job.answer[at] = Answer::far;
        }
    }
    answer_bridges(job, ring, bridge);
    hide_beside_parts(job);
    fit_features(job, ring, seen, Answer::contour);
    fit_local(job, start, from_wall);
}

/// The best of the shapes is none: planes of other shapes cross here, and each ray is told on its own.
bool explains_nothing(const Job& job) {
    const auto followed = std::count(job.ring.followed.begin(), job.ring.followed.end(), true);
    return !job.levels.wandering && job.ring.steps.chi2 > 2.5 && followed < 2 * rays / 3;
}

/// A bare hole that seems out of round because copper comes near is round where a circle explains wall and
/// copper together as well as its contour does.
void try_round_wall(Job& job) {
    constexpr double contour_worth = 12 * 8; // of a contour's harmonics, log(pixels) each
    if (job.plated || job.wall.round || !job.ring.ok || job.ring.steps.model.walls != 1) return;
    Hole round = job.hole;
    round.shape = HoleShape::round;
    const WallLine of_contour = std::exchange(job.wall, wall_line(round));
    RingFit fit = fit_planes(job);
    if (fit.ok && fit.steps.model.walls == 1 && fit.cost < job.ring.cost + contour_worth)
        job.ring = std::move(fit);
    else
        job.wall = of_contour;
}

/// The wall as the ring's fit has it.
void take_wall(Job& job) {
    const StepModel& model = job.ring.steps.model;
    if (model.walls == 0) return;
    for (int i = 0; i < rays; ++i) {
        const Point d = ray_direction(i);
        job.wall.radius_px[idx(i)] += model.wall_shift_px + d.x * model.wall_x_px + d.y * model.wall_y_px;
    }
    job.wall.mean_px += model.wall_shift_px;
    job.wall.largest_px = *std::max_element(job.wall.radius_px.begin(), job.wall.radius_px.end());
    job.wall.round = false; // about the hole's centre
}

} // namespace

bool stands_on(const Job& job, std::size_t contour, int ray) {
    const StepModel& model = job.ring.steps.model;
    const int passed = model.walls + static_cast<int>(contour);
    const double step = model.level[static_cast<std::size_t>(model.level_at(passed, ray))] -
                        model.level[static_cast<std::size_t>(model.level_at(passed + 1, ray))];
    // Without sectors every plane goes all round, thin as it may be.
    return step > (model.sectors > 1 ? 0.3 : 0.05) * job.levels.step();
}

void fit_contour(Job& job) {
    job.ring = fit_planes(job);
    try_round_wall(job);
    if (job.ring.ok && (mostly_in_the_air(job) || explains_nothing(job))) job.ring.ok = false;
    if (!job.ring.ok) return;
    take_wall(job);
    job.land_px = 0;
    if (job.ring.contour == 1) {
        const StepModel& model = job.ring.steps.model;
        job.land_px = true_radius(model.contours[0].r50, model.blur_px);
    }
    RingExpectation ring = expectation(job);
    ring.own_px = land_ends(job, ring);
    pass_own_vias(job, ring);
    judge_rays(job, ring);
    answer_barrels(job, ring);
    if (job.ground > 0) job.joined.fill(true); // the ring itself is copper of a plane that reaches the wall
    job.runs_on = std::any_of(job.joined.begin(), job.joined.end(), [](bool j) { return j; });
    // More foils behind the ring's edge than bridge it: some plane there is not joined, at least not over
    // these bridges.
    if (job.runs_on && job.ground == 0)
        job.all_joined = job.levels.foils(ring.copper) <= bridging_foils(job, ring);
}

} // namespace ringwall::rings
