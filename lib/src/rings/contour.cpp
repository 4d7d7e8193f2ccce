// SPDX-License-Identifier: Apache-2.0
#include "rings/circle_guess.hpp"
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

struct Guess {
    bool ok = false;
    Contour contour;
    RayFlags use{};
};

Contour circle_of(const GuessedCircle& circle) {
    Contour out;
    out.cx = circle.centre.x;
    out.cy = circle.centre.y;
    out.r50 = circle.radius;
    return out;
}

double tolerance_of(const Job& job) {
    return 0.5 + 0.5 * job.levels.blur_px;
}

/// A circle through one of the distances that the rays saw.
template<typename Distance>
Guess guess_through(const Job& job, const RayFlags& allowed, int least, Distance&& distance) {
    std::vector<Point> points;
    std::vector<int> ray_of_point;
    for (int i = 0; i < rays; ++i) {
        const double rho = allowed[idx(i)] ? distance(i) : 0;
        if (rho <= 0) continue;
        const Point d = ray_direction(i);
        points.push_back({rho * d.x, rho * d.y});
        ray_of_point.push_back(i);
    }
    Guess guess;
    const auto circle = guess_circle(points, tolerance_of(job), least, job.seed());
    if (!circle) return guess;
    guess.ok = true;
    guess.contour = circle_of(*circle);
    for (std::size_t k = 0; k < points.size(); ++k)
        if (circle->inlier[k]) guess.use[idx(ray_of_point[k])] = true;
    return guess;
}

Guess guess_ring(const Job& job) {
    RayFlags allowed{};
    int at_wall = 0;
    for (std::size_t i = 0; i < rays; ++i) {
        const RingSight& s = job.ring_seen[i];
        allowed[i] = s.first > 0 && !job.hidden[i];
        at_wall += allowed[i] && s.at_wall ? 1 : 0;
    }
    Guess guess = guess_through(job, allowed, 60, [&](int i) {
        const RingSight& s = job.ring_seen[idx(i)];
        return s.at_wall ? 0 : s.first;
    });
    if (!guess.ok && at_wall >= 120) {
        guess.contour.r50 = job.wall.mean_px + job.levels.blur_px;
        guess.ok = true;
    }
    if (!guess.ok) return guess;
    for (int i = 0; i < rays; ++i) { // copper already within the wall's blur, where the circle says so
        const RingSight& s = job.ring_seen[idx(i)];
        if (!allowed[idx(i)] || !s.at_wall) continue;
        if (guess.contour.along(ray_direction(i)) < s.first + tolerance_of(job)) guess.use[idx(i)] = true;
    }
    return guess;
}

int vote(const std::array<int, 12>& votes) {
    return static_cast<int>(std::max_element(votes.begin() + 1, votes.end()) - votes.begin());
}

int foils_behind(const Job& job, const RayFlags& use) {
    std::array<int, 12> votes{};
    for (std::size_t i = 0; i < rays; ++i)
        if (use[i]) ++votes[static_cast<std::size_t>(std::clamp(job.ring_seen[i].foils, 1, 11))];
    return vote(votes);
}

int land_foils(const Job& job) {
    std::array<int, 12> votes{};
    for (int i = 0; i < rays; ++i) {
        const double rho = job.wall.radius_px[idx(i)] + job.wall_zone_px + 0.5;
        const int j = static_cast<int>(rho / PolarField::pace_px);
        if (j >= job.field.radii) continue;
        const double t = static_cast<double>(job.field.smooth[job.field.at(i, j)]);
        if (t > 0) ++votes[static_cast<std::size_t>(std::min(job.levels.foils(t), 11))];
    }
    return vote(votes);
}

struct RingModel {
    StepModel steps;
    std::vector<int> foils;
    int contour = 0;
    Region region;
};

/// Edges that stand inside the ring's and near enough to share its fit: the wall of a bare hole, a land, or a
/// barrel.
void add_inner_edges(const Job& job, const Guess& guess, RingModel& out) {
    const double blur = job.levels.blur_px;
    double to_wall = 1e9, to_land = 1e9;
    for (int i = 0; i < rays; ++i) {
        if (!guess.use[idx(i)]) continue;
        const double at = guess.contour.along(ray_direction(i));
        to_wall = std::min(to_wall, at - job.wall.radius_px[idx(i)]);
        if (job.ring_seen[idx(i)].own_end > 0)
            to_land = std::min(to_land, at - job.ring_seen[idx(i)].own_end);
    }
    if (!job.plated) {
        if (to_wall > 9 * blur) return;
        out.steps.walls = 1;
        out.foils = {-1};
        return;
    }
    if (to_land > 9 * blur && to_wall > 8 * blur) return;
    const Guess land =
        guess_through(job, guess.use, 60, [&](int i) { return job.ring_seen[idx(i)].own_end; });
    if (land.ok && to_land <= 9 * blur) {
        out.steps.contours.push_back(land.contour);
        out.foils = {land_foils(job)};
        out.contour = 1;
    } else if (!land.ok && to_wall <= 8 * blur) {
        out.steps.walls = 2;
        out.foils = {-1, 1};
    }
}

double inner_limit(const Job& job, const RingModel& model, double edge, int ray) {
    const double blur = job.levels.blur_px, wall = job.wall.radius_px[idx(ray)];
    const double own = job.ring_seen[idx(ray)].own_end;
    if (model.steps.walls > 0) return std::max(0.0, wall - (model.steps.walls == 2 ? 12 : 7) * blur);
    if (model.contour == 1) {
        const double land = model.steps.contours.front().along(ray_direction(ray));
        return std::max(wall + 3 * blur, land - 3.5 * blur - 4);
    }
    const double limit = std::max(wall + 3 * blur, edge - 3.5 * blur - 8);
    return own > 0 ? std::max(limit, own + 2.5 * blur) : limit;
}

/// The ring as one copper edge with `foils` foils behind it, or (`planes` 2) as the edges of two planes close
/// together.
RingModel ring_model(const Job& job, const Guess& guess, const Contour* second, int foils) {
    RingModel out;
    const double blur = job.levels.blur_px;
    out.steps.blur_px = blur;
    out.region.use = guess.use;
    add_inner_edges(job, guess, out);
    out.foils.push_back(0);
    if (second) out.foils.push_back(std::max(1, foils - 1));
    out.foils.push_back(foils);
    out.steps.contours.push_back(guess.contour);
    if (second) out.steps.contours.push_back(*second);
    for (int i = 0; i < rays; ++i) {
        const double edge = guess.contour.along(ray_direction(i));
        const double last = second ? std::max(edge, second->along(ray_direction(i))) : edge;
        out.region.inner_px[idx(i)] = inner_limit(job, out, edge, i);
        double outer = last + 3.5 * blur + 8;
        const RaySight& s = job.sights[idx(i)];
        if (s.next > last) outer = std::min(outer, s.next - 2.5 * blur - 0.5 * job.patch.smoothing_px);
        const double behind = job.ring_seen[idx(i)].second;
        if (!second && behind > 0) outer = std::min(outer, behind - 2 * blur);
        out.region.outer_px[idx(i)] = std::max(outer, last + blur);
    }
    return out;
}

RingFit fit_model(const Job& job, const RingModel& model) {
    return fit_ring(job.scene(), model.steps, model.contour, model.region, model.foils);
}

/// One plane or two: two when a second step is seen close behind the first, or when two edges half a blur
/// apart explain a step of two foils better.
RingFit fit_planes(const Job& job, const Guess& guess) {
    const int foils = foils_behind(job, guess.use);
    const RingFit one = fit_model(job, ring_model(job, guess, nullptr, foils));
    const double blur = job.levels.blur_px;
    const Guess behind =
        guess_through(job, guess.use, 90, [&](int i) { return job.ring_seen[idx(i)].second; });
    Contour second = guess.contour;
    int both = foils;
    if (behind.ok) {
        second = behind.contour;
        both = foils + 1;
        if (std::abs(second.r50 - guess.contour.r50) > 8 * blur)
            return one; // far enough to leave each other alone
    } else if (foils >= 2 && job.levels.copper.size() >= 2) {
        second.r50 += 0.7 * blur;
    } else {
        return one;
    }
    Guess first = guess;
    if (!behind.ok) first.contour.r50 -= 0.7 * blur;
    const RingFit two = fit_model(job, ring_model(job, first, &second, both));
    if (!two.ok) return one;
    return !one.ok || two.cost < one.cost ? two : one;
}

/// Half-height radius of the innermost plane on a ray.
double edge_along(const RingFit& ring, int ray) {
    const Point d = ray_direction(ray);
    const std::vector<Contour>& contours = ring.steps.model.contours;
    double rho = 1e9;
    for (std::size_t c = static_cast<std::size_t>(ring.contour); c < contours.size(); ++c)
        rho = std::min(rho, contours[c].along(d));
    return rho;
}

/// Copper that comes up to the wall all round shows no contour to fit.
bool mostly_in_the_air(const Job& job) {
    if (job.ring.steps.model.walls != 1) return false;
    int used = 0, inside = 0;
    for (int i = 0; i < rays; ++i) {
        if (!job.ring.followed[idx(i)]) continue;
        ++used;
        inside += edge_along(job.ring, i) < job.wall.radius_px[idx(i)] ? 1 : 0;
    }
    return 2 * inside > used;
}

RingExpectation expectation(const Job& job) {
    RingExpectation out;
    const StepModel& model = job.ring.steps.model;
    const auto laminate = static_cast<std::size_t>(model.walls + job.ring.contour);
    out.laminate = model.level[laminate];
    out.copper = model.level[laminate + 1];
    if (job.ring.contour == 1) out.land = model.level[0];
    for (int i = 0; i < rays; ++i) {
        out.edge_px[idx(i)] = edge_along(job.ring, i);
        out.land_px[idx(i)] = job.ring.contour == 1 ? model.contours[0].along(ray_direction(i)) : 0;
    }
    return out;
}

/// Copper that bridges the ring from the hole to the plane: a spoke when the plane behind it shows no foil
/// more than elsewhere, a trace of another layer that passes over it when it does.
bool passes_over(const Job& job, int ray, double edge) {
    const int usual = foils_behind(job, job.ring.followed);
    std::array<int, 12> votes{};
    for (double past = 3; past < 10; past += 0.5) {
        const int j = static_cast<int>((edge + past * job.levels.blur_px) / PolarField::pace_px);
        if (j >= job.field.radii || !job.field.usable[job.field.at(ray, j)]) break;
        double t = 0;
        for (int k = -1; k <= 1; ++k)
            t += static_cast<double>(job.field.t[job.field.at((ray + k + rays) % rays, j)]) / 3;
        ++votes[static_cast<std::size_t>(std::clamp(job.levels.foils(t), 0, 11))];
    }
    return vote(votes) > usual;
}

/// Rays on which the picture contradicts the contour get an answer of their own.
void judge_rays(Job& job) {
    const RingExpectation ring = expectation(job);
    const double blur = job.levels.blur_px;
    std::array<double, rays> inner{}, outer{}, start{}, behind{}, beyond{};
    for (std::size_t i = 0; i < rays; ++i) {
        const double wall = job.wall.radius_px[i] + (job.plated ? 3 : 2.5) * blur;
        inner[i] = ring.land_px[i] > 0 ? std::max(wall, ring.land_px[i])
                                       : std::max(wall, job.ring_seen[i].own_end + 2 * blur);
        if (job.ring_seen[i].own_end > ring.edge_px[i] - 3 * blur && ring.land_px[i] == 0)
            inner[i] = wall; // a spoke, whole
        outer[i] = ring.edge_px[i];
        behind[i] = std::max(wall, ring.edge_px[i]);
        beyond[i] = behind[i] + 25;
    }
    const auto nearer = departures(job.scene(), job.field, ring, true, inner, outer);
    const auto further = departures(job.scene(), job.field, ring, false, behind, beyond);
    RayFlags from_wall{};
    for (int i = 0; i < rays; ++i) {
        const std::size_t at = idx(i);
        if (job.hidden[at]) continue;
        job.answer[at] = Answer::contour;
        const bool spans =
            nearer[at].from_px < inner[at] + 1.5 * blur && nearer[at].to_px > outer[at] - 2 * blur;
        if (nearer[at].found && job.plated && spans) {
            if (passes_over(job, i, outer[at])) continue;
            job.answer[at] = Answer::own;
            job.joined[at] = true;
        } else if (nearer[at].found) {
            job.answer[at] = Answer::local;
            start[at] = nearer[at].from_px;
            from_wall[at] = !job.plated && start[at] < job.wall.radius_px[at] + 6 * blur;
            if (start[at] < inner[at] + 1) start[at] = job.wall.radius_px[at] + blur;
        } else if (further[at].found && further[at].from_px < behind[at] + 2.5 * blur) {
            job.answer[at] = Answer::local;
            start[at] = further[at].to_px;
            from_wall[at] = !job.plated && start[at] < job.wall.radius_px[at] + 6 * blur;
        } else if (!job.ring.followed[at] && job.ring_seen[at].first == 0 && job.far_px[at] > 0) {
            job.answer[at] = Answer::far;
        }
    }
    fit_local(job, start, from_wall);
}

} // namespace

void fit_contour(Job& job) {
    const Guess guess = guess_ring(job);
    if (!guess.ok) return;
    job.ring = fit_planes(job, guess);
    if (job.ring.ok && mostly_in_the_air(job)) job.ring.ok = false;
    if (!job.ring.ok) return;
    job.land_px = 0;
    if (job.ring.contour == 1) {
        const StepModel& model = job.ring.steps.model;
        job.land_px = true_radius(model.contours[0].r50, model.blur_px);
    }
    judge_rays(job);
    job.runs_on = std::any_of(job.joined.begin(), job.joined.end(), [](bool j) { return j; });
}

} // namespace ringwall::rings
