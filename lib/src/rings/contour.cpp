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

Guess guess_ring(const Job& job) {
    RayFlags allowed{};
    int at_wall = 0;
    for (std::size_t i = 0; i < rays; ++i) {
        const RingSight& s = job.ring_seen[i];
        allowed[i] = s.first() > 0 && !job.hidden[i];
        at_wall += allowed[i] && s.at_wall ? 1 : 0;
    }
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

int vote(const std::array<int, 12>& votes) {
    return static_cast<int>(std::max_element(votes.begin() + 1, votes.end()) - votes.begin());
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

/// One plane's edge, or those of several planes too close together to be told apart.
struct PlaneEdge {
    Contour contour;
    int foils = 1; ///< how many it adds
};

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

RingModel ring_model(const Job& job, const Guess& guess, const std::vector<PlaneEdge>& edges) {
    RingModel out;
    const double blur = job.levels.blur_px;
    out.steps.blur_px = blur;
    out.region.use = guess.use;
    add_inner_edges(job, guess, out);
    int foils = job.ground;
    out.foils.push_back(foils);
    for (const PlaneEdge& edge : edges) {
        out.steps.contours.push_back(edge.contour);
        out.foils.push_back(foils += edge.foils);
    }
    for (int i = 0; i < rays; ++i) {
        double first = 1e9, last = 0;
        for (const PlaneEdge& edge : edges) {
            const double at = edge.contour.along(ray_direction(i));
            first = std::min(first, at);
            last = std::max(last, at);
        }
        out.region.inner_px[idx(i)] = inner_limit(job, out, first, i);
        double outer = last + 3.5 * blur + 8;
        for (const double further : job.ring_seen[idx(i)].plane)
            if (further > last + 1.5 * blur) outer = std::min(outer, further - 2 * blur);
        out.region.outer_px[idx(i)] = std::max(outer, last + blur);
    }
    return out;
}

RingFit fit_model(const Job& job, const Guess& guess, const std::vector<PlaneEdge>& edges) {
    const RingModel model = ring_model(job, guess, edges);
    return fit_ring(job.scene(), model.steps, model.contour, model.region, model.foils);
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
    const double e = swing * 3 * 3.14159265 / 16, half = 0.5 * std::atan2(sine, cosine);
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

/// As many edges as the picture can tell apart: each plane its own, close ones merged, or two that cross; the
/// least chi-square plus log(pixels) a parameter decides.
RingFit fit_planes(const Job& job, const Guess& guess) {
    const std::vector<PlaneEdge> edges = close_planes(job, guess);
    const double blur = job.levels.blur_px;
    std::vector<std::vector<PlaneEdge>> candidates{edges};
    if (edges.size() > 1) {
        for (const double within : {2.2, 3.2})
            if (auto fewer = merged(edges, within * blur); fewer.size() < candidates.back().size())
                candidates.push_back(std::move(fewer));
        if (auto pair = crossed(job, guess, edges); !pair.empty()) candidates.push_back(std::move(pair));
    }
    RingFit best;
    for (const std::vector<PlaneEdge>& candidate : candidates) {
        RingFit fit = fit_model(job, guess, candidate);
        if (fit.ok && (!best.ok || fit.cost < best.cost)) best = std::move(fit);
    }
    return best;
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
    out.copper = model.level.back();
    out.foil = out.laminate * job.levels.copper.front() / job.levels.laminate;
    if (job.ring.contour == 1) out.land = model.level[0];
    for (std::size_t c = static_cast<std::size_t>(job.ring.contour); c < model.contours.size(); ++c) {
        const std::size_t level = static_cast<std::size_t>(model.walls) + c;
        out.steps.push_back(model.level[level + 1] - model.level[level]);
        out.planes.emplace_back();
        for (int i = 0; i < rays; ++i)
            out.planes.back()[idx(i)] = model.contours[c].along(ray_direction(i));
    }
    for (int i = 0; i < rays; ++i) {
        out.edge_px[idx(i)] = edge_along(job.ring, i);
        out.land_px[idx(i)] = job.ring.contour == 1 ? model.contours[0].along(ray_direction(i)) : 0;
    }
    return out;
}

double bridge_t(const Job& job, const RingExpectation& ring, int ray) {
    const double from = std::max(ring.land_px[idx(ray)], job.wall.radius_px[idx(ray)] + job.wall_zone_px);
    const int j = static_cast<int>(0.5 * (from + ring.edge_px[idx(ray)]) / PolarField::pace_px);
    if (j >= job.field.radii || !job.field.usable[job.field.at((ray + rays) % rays, j)]) return -1;
    return static_cast<double>(job.field.t[job.field.at((ray + rays) % rays, j)]);
}

/// Mean T behind the ring's edge, `past` beyond it, over rays first .. first + count - 1.
struct Behind {
    double sum = 0;
    int count = 0;
    [[nodiscard]] double mean() const { return count > 0 ? sum / count : 1e9; }
};
Behind behind_edge(const Job& job, const RingExpectation& ring, const RayFlags& leave_out, int first, int count,
                   double past) {
    Behind out;
    for (int i = first; i < first + count; ++i) {
        if (leave_out[idx(i)] || job.hidden[idx(i)]) continue;
        double last = 0;
        for (const auto& edge : ring.planes)
            last = std::max(last, edge[idx(i)]);
        const int j = static_cast<int>((last + past) / PolarField::pace_px);
        const int ray = ((i % rays) + rays) % rays;
        if (j >= job.field.radii || !job.field.usable[job.field.at(ray, j)]) continue;
        out.sum += static_cast<double>(job.field.t[job.field.at(ray, j)]);
        ++out.count;
    }
    return out;
}

/// Copper that bridges the ring over rays first .. first + count - 1, from the hole to the plane: a spoke
/// when the plane behind it is no darker than beside it, a trace of another layer that passes over it when
/// what it adds in the ring it adds there too. Looks on behind the edge only until five sigma decide: other
/// things lie there.
bool passes_over(const Job& job, const RingExpectation& ring, const RayFlags& bridge, int first, int count) {
    double sum = 0;
    int n = 0;
    const int inset = count / 4; // its rims are half in its blur
    for (int i = first + inset; i < first + count - inset; ++i)
        if (const double t = bridge_t(job, ring, i); t > 0) sum += t, ++n;
    const double foil = n > 0 ? sum / n / ring.laminate : job.levels.copper.front() / job.levels.laminate;
    const double blur = job.levels.blur_px;
    const double px_a_ray = std::max(ring.edge_px[idx(first)], 1.0) / 57.3;
    const int margin = static_cast<int>(std::ceil(2 * blur / px_a_ray)), flank = std::max(4, count / 2);
    double evidence = 0; // for what it adds, log likelihood
    const RayFlags none{};
    for (double past = 1.5 * blur; past < 9 * blur && std::abs(evidence) < 13; past += PolarField::pace_px) {
        const Behind here = behind_edge(job, ring, none, first + inset, count - 2 * inset, past);
        const Behind left = behind_edge(job, ring, bridge, first + count + margin, flank, past);
        const Behind right = behind_edge(job, ring, bridge, first - margin - flank, flank, past);
        const Behind& beside = left.mean() < right.mean() ? left : right; // a plane may end there: the darker
        if (here.count == 0 || beside.count == 0) continue;
        const double same = here.mean() - beside.mean(), more = here.mean() - foil * beside.mean();
        const double sigma = job.levels.noise.sigma(beside.mean());
        const double area = PolarField::pace_px * px_a_ray / (1.0 / here.count + 1.0 / beside.count);
        evidence += area * (same * same - more * more) / (2 * sigma * sigma);
    }
    return evidence > 0;
}

/// Foils of the copper that bridges the ring, read half way across it.
int bridging_foils(const Job& job, const RingExpectation& ring) {
    double sum = 0;
    int n = 0;
    for (int i = 0; i < rays; ++i) {
        if (!job.joined[idx(i)] || !job.joined[idx(i - 1)] || !job.joined[idx(i + 1)]) continue;
        if (const double t = bridge_t(job, ring, i); t > 0) sum += t, ++n;
    }
    return n == 0 ? 99 : job.levels.foils(sum / n);
}

/// Runs of rays flagged, breaks of up to two rays passed over, as first and count.
std::vector<std::pair<int, int>> runs_of(const RayFlags& flags) {
    std::vector<std::pair<int, int>> out;
    int start = 0;
    while (start < rays && (flags[idx(start)] || flags[idx(start - 1)] || flags[idx(start - 2)]))
        ++start;
    if (start == rays) return {{0, rays}};
    for (int i = start; i < start + rays; ++i) {
        if (!flags[idx(i)]) continue;
        int last = i;
        for (int k = i + 1; k <= last + 3 && k < start + rays; ++k)
            if (flags[idx(k)]) last = k;
        out.emplace_back(i, last - i + 1);
        i = last;
    }
    return out;
}

void answer_bridges(Job& job, const RingExpectation& ring, const RayFlags& bridge) {
    for (const auto& [first, count] : runs_of(bridge)) {
        const double px_a_ray = std::max(ring.edge_px[idx(first)], 1.0) / 57.3;
        const int margin = static_cast<int>(std::ceil(2.5 * job.levels.blur_px / px_a_ray));
        for (int i = first - margin; i < first + count + margin; ++i) // its own rims, half in its blur
            if (job.answer[idx(i)] == Answer::local) job.answer[idx(i)] = Answer::contour;
        if (passes_over(job, ring, bridge, first, count)) continue;
        for (int i = first; i < first + count; ++i) {
            if (!bridge[idx(i)]) continue;
            job.answer[idx(i)] = Answer::own;
            job.joined[idx(i)] = true;
        }
    }
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

/// Rays on which the picture contradicts the contour get an answer of their own.
void judge_rays(Job& job, const RingExpectation& ring) {
    const double blur = job.levels.blur_px;
    const std::array<double, rays> land = land_ends(job, ring);
    std::array<double, rays> inner{}, outer{}, start{}, behind{}, beyond{};
    for (std::size_t i = 0; i < rays; ++i) {
        const double wall = job.wall.radius_px[i] + (job.plated ? 3 : 2.5) * blur;
        inner[i] = ring.land_px[i] > 0 ? std::max(wall, ring.land_px[i]) : std::max(wall, land[i] + 2 * blur);
        outer[i] = ring.edge_px[i];
        behind[i] = std::max(wall, ring.edge_px[i]);
        beyond[i] = behind[i] + 25;
    }
    const auto nearer = departures(job.scene(), job.field, ring, true, inner, outer);
    const auto further = departures(job.scene(), job.field, ring, false, behind, beyond);
    RayFlags from_wall{}, bridge{};
    FeatureSeen seen;
    for (int i = 0; i < rays; ++i) {
        const std::size_t at = idx(i);
        seen.from_px[at] = nearer[at].from_px;
        seen.to_px[at] = nearer[at].to_px;
        seen.least_px[at] =
            ring.land_px[at] > 0 ? std::max(inner[at], ring.land_px[at] + 1.5 * blur) : inner[at];
        seen.most_px[at] = ring.edge_px[at] - 2.5 * blur;
        if (job.hidden[at]) continue;
        job.answer[at] = Answer::contour;
        // Copper that begins where own copper ends is joined to it; it ends in the ring, or bridges it.
        const bool from_own = job.plated && nearer[at].from_px < inner[at] + 3 * blur;
        const bool bridges = from_own && nearer[at].to_px > outer[at] - 2 * blur;
        if (nearer[at].found && from_own) {
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
    const RingExpectation ring = expectation(job);
    judge_rays(job, ring);
    if (job.ground > 0) job.joined.fill(true); // the ring itself is copper of a plane that reaches the wall
    job.runs_on = std::any_of(job.joined.begin(), job.joined.end(), [](bool j) { return j; });
    // More foils behind the ring's edge than bridge it: some plane there is not joined, at least not over
    // these bridges.
    if (job.runs_on && job.ground == 0)
        job.all_joined = job.levels.foils(ring.copper) <= bridging_foils(job, ring);
}

} // namespace ringwall::rings
