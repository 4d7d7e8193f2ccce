// SPDX-License-Identifier: Apache-2.0
#include "rings/shapes.hpp"

#include "rings/circle_guess.hpp"
#include "rings/polygon_guess.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

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

/// A straight edge agrees with a large circle over a good part of the turn; a ring goes round the hole.
bool goes_round(const GuessedCircle& circle, const std::vector<Point>& points,
                const std::vector<int>& ray_of_point) {
    std::array<int, 12> sectors{};
    double mean = 0;
    for (std::size_t k = 0; k < points.size(); ++k) {
        if (!circle.inlier[k]) continue;
        ++sectors[static_cast<std::size_t>(ray_of_point[k] / 30)];
        mean += std::hypot(points[k].x, points[k].y) / circle.inliers;
    }
    const auto held = std::count_if(sectors.begin(), sectors.end(), [](int n) { return n >= 8; });
    return held >= 5 && circle.radius < 2 * mean;
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
    if (!circle || !goes_round(*circle, points, ray_of_point)) return guess;
    guess.ok = true;
    guess.contour = circle_of(*circle);
    for (std::size_t k = 0; k < points.size(); ++k)
        if (circle->inlier[k]) guess.use[idx(ray_of_point[k])] = true;
    return guess;
}

/// The circle of the ring's edge of `plane` + 1 foils over the ground.
Guess guess_plane(const Job& job, const RayFlags& allowed, std::size_t plane, int least) {
    return guess_through(job, allowed, least, [&](int i) {
        const RingSight& s = job.ring_seen[idx(i)];
        return plane == 0 && s.at_wall ? 0 : s.plane[plane];
    });
}

Guess guess_ring(const Job& job, const RayFlags& allowed) {
    int at_wall = 0;
    for (std::size_t i = 0; i < rays; ++i)
        at_wall += allowed[i] && job.ring_seen[i].at_wall ? 1 : 0;
    Guess guess = guess_plane(job, allowed, 0, 60);
    if (!guess.ok && at_wall >= 120) {
        guess.contour.r50 = job.wall.mean_px + job.levels.blur_px;
        guess.ok = true;
    }
    if (!guess.ok) return guess;
    for (int i = 0; i < rays; ++i) { // copper already within the wall's blur, where the circle says so
        const RingSight& s = job.ring_seen[idx(i)];
        if (!allowed[idx(i)] || !s.at_wall) continue;
        if (guess.contour.along(ray_direction(i)) < s.first() + tolerance_of(job)) guess.use[idx(i)] = true;
    }
    return guess;
}

/// The planes whose edges stand so near behind one another that they must share a fit, each with a circle of
/// its own.
std::vector<PlaneEdge> close_planes(const Job& job, const Guess& guess) {
    std::vector<PlaneEdge> edges{{guess.contour, 1}};
    for (std::size_t k = 1; k < most_planes; ++k) {
        const Guess next = guess_plane(job, guess.use, k, 90);
        if (!next.ok || next.contour.r50 > edges.back().contour.r50 + 8 * job.levels.blur_px) break;
        edges.push_back({next.contour, 1});
    }
    return edges;
}

/// Neighbours closer than the blur can tell apart as one edge of several foils.
std::vector<PlaneEdge> merged(const std::vector<PlaneEdge>& edges, double nearer_than_px) {
    std::vector<PlaneEdge> out;
    for (const PlaneEdge& edge : edges) {
        if (out.empty() || edge.contour.r50 - out.back().contour.r50 > nearer_than_px * out.back().foils) {
            out.push_back(edge);
            continue;
        }
        PlaneEdge& into = out.back();
        const double share = 1.0 / (into.foils + 1);
        into.contour.cx += share * (edge.contour.cx - into.contour.cx);
        into.contour.cy += share * (edge.contour.cy - into.contour.cy);
        into.contour.r50 += share * (edge.contour.r50 - into.contour.r50);
        ++into.foils;
    }
    return out;
}

/// Two circles that cross show as an inner and an outer envelope, further apart along one axis: the pair that
/// would.
std::vector<PlaneEdge> crossed(const Job& job, const Guess& guess, std::vector<PlaneEdge> edges) {
    double cosine = 0, sine = 0, mean = 0;
    int n = 0;
    for (int i = 0; i < rays; ++i) {
        const RingSight& s = job.ring_seen[idx(i)];
        if (!guess.use[idx(i)] || s.plane[1] <= 0 || s.at_wall) continue;
        const double apart = s.plane[1] - s.plane[0];
        const Point d = ray_direction(i);
        cosine += apart * (d.x * d.x - d.y * d.y);
        sine += apart * 2 * d.x * d.y;
        mean += apart;
        ++n;
    }
    if (n < 180) return {};
    const double swing =
        2 * std::hypot(cosine, sine) / n; // of |2 e cos|: mean 4 e / pi, second harmonic 8 e / 3 pi
    if (swing < 0.35 * mean / n) return {};
    const double e = swing * 3 * std::numbers::pi / 16, half = 0.5 * std::atan2(sine, cosine);
    const double r = 0.5 * (edges[0].contour.r50 + edges[1].contour.r50);
    const double cx = 0.5 * (edges[0].contour.cx + edges[1].contour.cx);
    const double cy = 0.5 * (edges[0].contour.cy + edges[1].contour.cy);
    for (const int k : {0, 1}) {
        Contour& c = edges[static_cast<std::size_t>(k)].contour;
        c.cx = cx + (k == 0 ? e : -e) * std::cos(half);
        c.cy = cy + (k == 0 ? e : -e) * std::sin(half);
        c.r50 = r;
    }
    return edges;
}

/// Points that rays saw, and whose they are.
struct Sighted {
    std::vector<Point> points;
    std::vector<int> ray;
    void add(int i, double rho) {
        if (rho <= 0) return;
        const Point d = ray_direction(i);
        points.push_back({rho * d.x, rho * d.y});
        ray.push_back(i);
    }
};

int count(const RayFlags& flags) {
    return static_cast<int>(std::count(flags.begin(), flags.end(), true));
}

/// The shape most of the points lie on: a regular polygon only where it explains clearly more than a circle.
Guess best_shape(const Job& job, const Sighted& seen, int least) {
    Guess guess;
    std::vector<bool> inlier;
    const auto circle = guess_circle(seen.points, tolerance_of(job), least, job.seed());
    const int round = circle && goes_round(*circle, seen.points, seen.ray) ? circle->inliers : 0;
    const Point centre = round > 0 ? circle->centre : Point{};
    const auto polygon = guess_polygon(seen.points, centre, tolerance_of(job), least);
    if (polygon && polygon->inliers > round + 20) {
        guess.contour = polygon->contour;
        inlier = polygon->inlier;
    } else if (round > 0) {
        guess.contour = circle_of(*circle);
        inlier = circle->inlier;
    }
    guess.ok = !inlier.empty();
    for (std::size_t k = 0; k < inlier.size(); ++k)
        if (inlier[k]) guess.use[idx(seen.ray[k])] = true;
    return guess;
}

/// Rays whose first copper lies on the innermost of the shapes.
RayFlags agreeing(const Job& job, const RayFlags& allowed, const std::vector<PlaneEdge>& edges) {
    RayFlags out{};
    for (int i = 0; i < rays; ++i) {
        if (!allowed[idx(i)]) continue;
        double first = 1e9;
        for (const PlaneEdge& edge : edges)
            first = std::min(first, edge.contour.along(ray_direction(i)));
        out[idx(i)] = std::abs(first - job.ring_seen[idx(i)].first()) < 1.5 * tolerance_of(job);
    }
    return out;
}

/// One shape that is no circle, or two that cross, where the circle `round` leaves much unexplained.
void add_other_shapes(const Job& job, const RayFlags& allowed, const Guess& round,
                      std::vector<EdgeChoice>& choices) {
    const int all = count(allowed), explained = round.ok ? count(round.use) : 0;
    if (all < 120 || explained > 0.85 * all) return;
    Sighted first, pool;
    for (int i = 0; i < rays; ++i) {
        const RingSight& s = job.ring_seen[idx(i)];
        if (!allowed[idx(i)] || s.at_wall) continue;
        first.add(i, s.plane[0]);
        pool.add(i, s.plane[0]);
        if (s.plane[1] < s.plane[0] + 12 * job.levels.blur_px) pool.add(i, s.plane[1]);
    }
    const Guess one = best_shape(job, first, 100);
    if (one.ok && one.contour.sides > 0) choices.push_back({one.use, {{one.contour, 1}}});
    const Guess a = best_shape(job, pool, 100);
    if (!a.ok) return;
    Sighted rest;
    for (std::size_t k = 0; k < pool.points.size(); ++k)
        if (std::abs(a.contour.outside(pool.points[k].x, pool.points[k].y)) > tolerance_of(job)) {
            rest.points.push_back(pool.points[k]);
            rest.ray.push_back(pool.ray[k]);
        }
    const Guess b = best_shape(job, rest, 90);
    if (!b.ok) return;
    std::vector<PlaneEdge> edges{{a.contour, 1}, {b.contour, 1}};
    if (b.contour.r50 < a.contour.r50) std::swap(edges[0], edges[1]);
    const RayFlags use = agreeing(job, allowed, edges);
    choices.push_back({use, std::move(edges)});
}

} // namespace

Guess guess_land(const Job& job, const RayFlags& allowed) {
    return guess_through(job, allowed, 60, [&](int i) { return job.ring_seen[idx(i)].own_end; });
}

std::vector<EdgeChoice> edge_choices(const Job& job) {
    RayFlags allowed{};
    for (std::size_t i = 0; i < rays; ++i)
        allowed[i] = job.ring_seen[i].first() > 0 && !job.hidden[i];
    std::vector<EdgeChoice> choices;
    const Guess guess = guess_ring(job, allowed);
    if (guess.ok) {
        const std::vector<PlaneEdge> edges = close_planes(job, guess);
        choices.push_back({guess.use, edges});
        if (edges.size() > 1) {
            for (const double within : {2.2, 3.2})
                if (auto fewer = merged(edges, within * job.levels.blur_px);
                    fewer.size() < choices.back().edges.size())
                    choices.push_back({guess.use, std::move(fewer)});
            if (auto pair = crossed(job, guess, edges); !pair.empty())
                choices.push_back({guess.use, std::move(pair)});
        }
    }
    add_other_shapes(job, allowed, guess, choices);
    return choices;
}

} // namespace ringwall::rings
