// SPDX-License-Identifier: Apache-2.0
#include "rings/vias.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace ringwall::rings {
namespace {

/// T of the picture on a circle round a neighbour that four fifths of the circle exceed: bright only where
/// almost all of it is. 0: too little of it is seen.
double dark_fifth_on_circle(const Job& job, const RingExpectation& ring, Point via, double radius_px) {
    const int points = std::max(24, static_cast<int>(std::ceil(2 * std::numbers::pi * radius_px)));
    std::vector<float> seen;
    for (int k = 0; k < points; ++k) {
        const double a = 2 * std::numbers::pi * k / points;
        const auto x = static_cast<int>(std::lround(via.x + radius_px * std::cos(a))),
                   y = static_cast<int>(std::lround(via.y + radius_px * std::sin(a)));
        if (!job.map.t.contains(x, y)) continue;
        const double dx = x - job.hole.centre_px.x, dy = y - job.hole.centre_px.y, rho = std::hypot(dx, dy);
        const std::size_t ray = idx(ray_of(dx, dy));
        if (rho < job.wall.radius_px[ray] + job.wall_zone_px) continue;
        if (rho < ring.edge_px[ray] - 3 * job.levels.blur_px) seen.push_back(job.map.t(x, y));
    }
    if (static_cast<int>(3 * seen.size()) < points) return 0;
    const auto fifth = seen.begin() + static_cast<std::ptrdiff_t>(seen.size() / 5);
    std::nth_element(seen.begin(), fifth, seen.end());
    return static_cast<double>(*fifth);
}

/// How a neighbour stands in the plane that the hole is joined to.
struct Standing {
    double land_px = 0; ///< radius of its land, the plane surrounding it without a clearance; 0: not so
    bool apart = false; ///< a clearance is seen round it; neither: too little is seen
};

/// Outwards T only rises, from the barrel to the land and from the land to the plane: beyond a clearance it
/// falls by a foil.
Standing standing_of(const Job& job, const RingExpectation& ring, const Hole& via) {
    const double foil = job.levels.copper.front() / job.levels.laminate; // T of one
    const double drill = 0.5 * via.drill_px.value_or(0), blur = job.levels.blur_px;
    // Land and clearance of a via reach no further (common practice, no source).
    const double furthest = 5 * drill + 2 * blur;
    std::vector<double> profile;
    double brightest = 0;
    for (double r = drill + 2 * blur; r < furthest; r += 1) {
        const double t = dark_fifth_on_circle(job, ring, via.centre_px, r);
        if (t <= 0) break;
        brightest = std::max(brightest, t);
        if (t < brightest * std::sqrt(foil)) return {0, true};
        profile.push_back(t);
    }
    if (static_cast<double>(profile.size()) < 0.5 * (furthest - drill)) return {};
    const auto end = std::find_if(profile.begin(), profile.end(),
                                  [&](double t) { return t > brightest * std::pow(foil, 0.25); });
    return {drill + 2 * blur + static_cast<double>(end - profile.begin()), false};
}

/// From the hole's centre to a neighbour's; x, y down.
Point way_to(const Job& job, const Hole& other) {
    return {other.centre_px.x - job.hole.centre_px.x, other.centre_px.y - job.hole.centre_px.y};
}

/// A neighbour's barrel that stands free in the ring, not in own copper.
bool stands_in_ring(const Job& job, const RingExpectation& ring, const Hole& other) {
    if (other.wall.state != WallState::plated && other.wall.state != WallState::incomplete) return false;
    const Point way = way_to(job, other);
    const double away = std::hypot(way.x, way.y), nearest = away - 0.5 * other.drill_px.value_or(0);
    if (away < 1 || !other.drill_px) return false;
    const std::size_t ray = idx(ray_of(way.x, way.y));
    const double clear = 2 * job.levels.blur_px;
    if (nearest < job.wall.radius_px[ray] || nearest > ring.edge_px[ray] - clear) return false;
    if (job.ground > 0) return standing_of(job, ring, other).apart;
    return !job.plated || nearest > ring.own_px[ray] + clear;
}

/// Its land ends somewhere in the blur of its wall, or it would have been seen.
Feature land_in_blur(const Job& job, const Hole& via) {
    const double zone = job.wall_zone_px, u_drill = 0.5 * via.drill_px.u();
    Feature land;
    land.kind = Feature::Kind::disk;
    land.x = way_to(job, via).x;
    land.y = way_to(job, via).y;
    land.half_px = 0.5 * via.drill_px.value() + 0.5 * zone;
    land.u_kind_px = zone / std::sqrt(12);
    land.covariance.diagonal() << via.u_x_px * via.u_x_px, via.u_y_px * via.u_y_px, 0, u_drill * u_drill;
    return land;
}

} // namespace

std::array<OwnVia, rays> own_vias(const Job& job, const RingExpectation& ring) {
    std::array<OwnVia, rays> out{};
    if (job.ground == 0) return out;
    for (const Hole& via : job.neighbours) {
        if (via.wall.state != WallState::plated) continue;
        const Point from = way_to(job, via);
        const double away = std::hypot(from.x, from.y);
        if (away < 1 || away > job.searched_px) continue;
        const double land = standing_of(job, ring, via).land_px;
        if (land == 0) continue;
        const double reach = land + job.levels.blur_px;
        for (int i = 0; i < rays; ++i) {
            const Point d = ray_direction(i);
            const double along = from.x * d.x + from.y * d.y, aside = std::abs(from.x * d.y - from.y * d.x);
            if (along <= 0 || aside >= reach) continue;
            const double half = std::sqrt(reach * reach - aside * aside);
            OwnVia& span = out[idx(i)];
            if (span.to_px > 0 && span.from_px < along - half) continue; // the nearer of two
            span = {along - half, along + half};
        }
    }
    return out;
}

void answer_barrels(Job& job, const RingExpectation& ring) {
    for (const Hole& via : job.neighbours) {
        if (!stands_in_ring(job, ring, via)) continue;
        const Feature land = land_in_blur(job, via);
        RayFlags meets{};
        bool seen = false; // with a land of its own, or hidden
        for (int i = 0; i < rays; ++i) {
            const double at = land.along(ray_direction(i), job.wall.radius_px[idx(i)], ring.edge_px[idx(i)]);
            meets[idx(i)] = at > 0;
            seen = seen || (at > 0 && job.answer[idx(i)] != Answer::contour);
        }
        if (seen || std::none_of(meets.begin(), meets.end(), [](bool m) { return m; })) continue;
        for (std::size_t i = 0; i < rays; ++i)
            if (meets[i]) {
                job.answer[i] = Answer::feature;
                job.feature_of[i] = static_cast<int>(job.features.size());
            }
        job.features.push_back(land);
    }
}

} // namespace ringwall::rings
