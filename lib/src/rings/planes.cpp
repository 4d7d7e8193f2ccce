// SPDX-License-Identifier: Apache-2.0
#include "rings/shapes.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

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

struct RingModel {
    StepModel steps;
    std::vector<int> foils;
    int contour = 0;
    Region region;
};

/// Edges that stand inside the ring's and near enough to share its fit: the wall of a bare hole, a land, or a
/// barrel.
void add_inner_edges(const Job& job, const EdgeChoice& choice, RingModel& out) {
    const double blur = job.levels.blur_px;
    double to_wall = 1e9, to_land = 1e9;
    for (int i = 0; i < rays; ++i) {
        if (!choice.use[idx(i)]) continue;
        double at = 1e9;
        for (const PlaneEdge& edge : choice.edges)
            at = std::min(at, edge.contour.along(ray_direction(i)));
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
    const Guess land = guess_land(job, choice.use);
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

RingModel ring_model(const Job& job, const EdgeChoice& choice) {
    const std::vector<PlaneEdge>& edges = choice.edges;
    RingModel out;
    const double blur = job.levels.blur_px;
    out.steps.blur_px = blur;
    out.region.use = choice.use;
    add_inner_edges(job, choice, out);
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

/// Foils behind the last edge on each ray; -1 where that changes within the pixels looked at, or nothing
/// is seen.
std::array<int, rays> foils_behind(const Job& job, const EdgeChoice& choice) {
    std::array<int, rays> out{};
    const double blur = job.levels.blur_px;
    for (int i = 0; i < rays; ++i) {
        double last = 0;
        for (const PlaneEdge& edge : choice.edges)
            last = std::max(last, edge.contour.along(ray_direction(i)));
        int& foils = out[idx(i)] = -1;
        for (double past = 2.5 * blur; past < 2.5 * blur + 5; past += PolarField::pace_px) {
            const int j = static_cast<int>(std::lround((last + past) / PolarField::pace_px));
            if (j >= job.field.radii) break;
            const double t = static_cast<double>(job.field.smooth[job.field.at(i, j)]);
            if (t < 0) break;
            const int here = job.levels.foils(t);
            if (foils >= 0 && here != foils && past < 2.5 * blur + 2.5) {
                foils = -1;
                break;
            }
            if (foils >= 0 && here != foils) break;
            foils = here;
        }
    }
    return out;
}

/// Gives the levels behind the ring's first edge one value a sector of the turn, sectors by foils behind the
/// last edge. Rays of no sector are left out.
void set_sectors(const Job& job, const EdgeChoice& choice, RingModel& out) {
    const std::array<int, rays> behind = foils_behind(job, choice);
    constexpr int shortest = 10, most = 4;
    std::array<int, 32> held{};
    const auto in_run = [&](int i) { // one of a run of rays that agree
        int run = 1;
        for (int k = 1; k < shortest && behind[idx(i + k)] == behind[idx(i)]; ++k)
            ++run;
        for (int k = 1; k < shortest && behind[idx(i - k)] == behind[idx(i)]; ++k)
            ++run;
        return run >= shortest;
    };
    for (int i = 0; i < rays; ++i)
        if (out.region.use[idx(i)] && behind[idx(i)] > job.ground && in_run(i))
            ++held[static_cast<std::size_t>(std::min(behind[idx(i)], 31))];
    std::vector<int> classes;
    for (int n = 0; n < most; ++n) {
        const auto fullest = std::max_element(held.begin(), held.end());
        if (*fullest < 2 * shortest) break;
        classes.push_back(static_cast<int>(fullest - held.begin()));
        *fullest = 0;
    }
    if (classes.size() < 2 && (classes.empty() || classes[0] == out.foils.back())) return;
    StepModel& model = out.steps;
    model.common = model.walls + out.contour + 1;
    model.sectors = static_cast<int>(classes.size());
    for (int i = 0; i < rays; ++i) {
        const auto found = std::find(classes.begin(), classes.end(), behind[idx(i)]);
        const bool known = found != classes.end() && in_run(i);
        model.sector[idx(i)] = known ? static_cast<std::uint8_t>(found - classes.begin()) : 0;
        out.region.use[idx(i)] = out.region.use[idx(i)] && known;
    }
    std::vector<int> foils(out.foils.begin(), out.foils.begin() + model.common);
    for (int passed = model.common; passed <= model.edges(); ++passed)
        for (const int last : classes) {
            const int usual = out.foils[static_cast<std::size_t>(passed)];
            foils.push_back(passed == model.edges() ? last : std::min(usual, last));
        }
    out.foils = std::move(foils);
}

/// Rays outside the sectors that a fit used lie in the sector of the nearest ray used.
void spread_sectors(const RayFlags& used, StepModel& model) {
    if (model.sectors < 2) return;
    const std::array<std::uint8_t, rays> known = model.sector;
    for (int i = 0; i < rays; ++i)
        for (int k = 0; k < rays / 2; ++k) {
            const int at = used[idx(i + k)] ? i + k : i - k;
            if (!used[idx(at)]) continue;
            model.sector[idx(i)] = known[idx(at)];
            break;
        }
}

constexpr double ray_worth = 5; // chi-square that a ray left out must have cost

RingFit fit_model(const Job& job, const RingModel& model) {
    RingFit fit = fit_ring(job.scene(), model.steps, model.contour, model.region, model.foils);
    fit.cost -= ray_worth * static_cast<double>(std::count(fit.followed.begin(), fit.followed.end(), true));
    return fit;
}

/// `model` as `fit` left it, with contour `which` as two that end just before and just behind it.
RingModel split(const RingModel& model, const RingFit& fit, std::size_t which) {
    RingModel out = model;
    out.steps.contours = fit.steps.model.contours;
    const auto at = out.steps.contours.begin() + static_cast<std::ptrdiff_t>(which);
    const double apart = 0.6 * model.steps.blur_px;
    Contour inner = *at;
    inner.r50 -= apart;
    at->r50 += apart;
    out.steps.contours.insert(at, inner);
    const auto level = static_cast<std::ptrdiff_t>(static_cast<std::size_t>(model.steps.walls) + which + 1);
    out.foils.insert(out.foils.begin() + level, level_between);
    out.steps.common = 0;
    return out;
}

/// All contours still go round the hole: none has become a straight edge somewhere behind it.
bool goes_round(const RingFit& fit) {
    const std::vector<Contour>& contours = fit.steps.model.contours;
    return std::all_of(contours.begin(), contours.end(),
                       [](const Contour& c) { return std::hypot(c.cx, c.cy) < 0.4 * c.r50; });
}

/// A split that BIC refuses and that plain chi-square, at 5 a value, would take, may be true: planes end
/// close to each other as a rule, and one edge for two lies behind the first. What that moves goes into the
/// contour's u.
void doubt_edge(const RingFit& finer, std::size_t which, RingFit& best) {
    constexpr double price = 5, share = 0.6; // of the distance that a reading as likely as not would move
    const double usual = std::log(std::max(best.steps.pixels, 10));
    const int more = finer.steps.model.parameters() - best.steps.model.parameters();
    if (finer.cost - more * std::max(0.0, usual - price) > best.cost) return;
    const double moved = best.steps.model.contours[which].r50 - finer.steps.model.contours[which].r50;
    const int radius = best.steps.model.contour_index(static_cast<int>(which)) + 2;
    if (moved > 0) best.steps.covariance(radius, radius) += std::pow(share * moved, 2);
}

/// Planes whose edges the blur merged show as an edge blurred too much: as many as the picture's own blur
/// asks for.
void split_edges(const Job& job, RingModel model, RingFit& best) {
    constexpr int most_edges = 4, most_splits = 2;
    if (job.levels.wandering || model.steps.sectors > 1) return;
    for (int n = 0; n < most_splits && model.steps.edges() < most_edges; ++n) {
        const double misfit = (best.steps.chi2 - 1) * std::sqrt(0.5 * best.steps.pixels);
        const bool wide = best.steps.model.blur_px >
                          job.levels.blur_px + std::max(0.03 * job.levels.blur_px, 3 * job.levels.blur_u_px);
        if (misfit < 3 && !wide) return;
        RingModel better_model;
        RingFit better;
        for (std::size_t c = static_cast<std::size_t>(model.contour); c < model.steps.contours.size(); ++c) {
            if (best.steps.model.contours[c].sides > 0) continue;
            RingModel finer = split(model, best, c);
            RingFit fit = fit_model(job, finer);
            if (!fit.ok || !goes_round(fit)) continue;
            if (fit.cost > best.cost) doubt_edge(fit, c, best);
            if (fit.cost > (better.ok ? better.cost : best.cost)) continue;
            better = std::move(fit);
            better_model = std::move(finer);
        }
        if (!better.ok) return;
        best = std::move(better);
        model = std::move(better_model);
    }
}

} // namespace

RingFit fit_planes(const Job& job) {
    RingFit best;
    RingModel best_model;
    for (const EdgeChoice& choice : edge_choices(job)) {
        RingModel model = ring_model(job, choice);
        set_sectors(job, choice, model);
        spread_sectors(model.region.use, model.steps);
        RingFit fit = fit_model(job, model);
        if (!fit.ok || (best.ok && fit.cost >= best.cost)) continue;
        best = std::move(fit);
        best_model = std::move(model);
    }
    if (best.ok) split_edges(job, std::move(best_model), best);
    return best;
}

} // namespace ringwall::rings
