// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

/// The contour of the true edge: blur moves the half-height line towards the centre of curvature by blur^2 /
/// 2R.
Contour true_contour(const Contour& half_height, double blur_px) {
    Contour out = half_height;
    if (out.sides > 0) return out; // blur leaves straight edges where they are
    const double r = half_height.r50;
    out.r50 = true_radius(r, blur_px);
    for (int k = 2; k <= out.order; ++k)
        for (int part = 0; part < 2; ++part)
            out.harmonic[static_cast<std::size_t>(2 * (k - 2) + part)] *=
                1 + blur_px * blur_px * (k * k - 1) / (2 * r * r);
    return out;
}

/// Shortest way from the copper point on ray i to the wall.
double distance_to_wall(const WallLine& wall, int ray, double rho) {
    const double along = rho - wall.radius_px[idx(ray)];
    if (wall.round || along <= 0) return along;
    const Point d = ray_direction(ray);
    double least2 = along * along;
    for (int k = -60; k <= 60; ++k) {
        const Point e = ray_direction(ray + k);
        const double r = wall.radius_px[idx(ray + k)];
        const double dx = rho * d.x - r * e.x, dy = rho * d.y - r * e.y;
        least2 = std::min(least2, dx * dx + dy * dy);
    }
    return std::sqrt(least2);
}

void lay_out_covariance(Job& job) {
    const Eigen::Index n = job.ring.ok ? job.ring.steps.covariance.rows() : 0;
    job.wall_at = n;
    const Eigen::Index all = n + 3 + 4 * static_cast<Eigen::Index>(job.features.size());
    job.covariance = Eigen::MatrixXd::Zero(all, all);
    if (n > 0) job.covariance.topLeftCorner(n, n) = job.ring.steps.covariance;
    const bool wall_in_fit = job.ring.ok && job.ring.steps.model.walls > 0;
    if (!wall_in_fit) {
        job.covariance(n, n) = job.wall.u_radius_px * job.wall.u_radius_px;
        job.covariance(n + 1, n + 1) = job.wall.u_x_px * job.wall.u_x_px;
        job.covariance(n + 2, n + 2) = job.wall.u_y_px * job.wall.u_y_px;
    }
    for (std::size_t k = 0; k < job.features.size(); ++k) {
        const Eigen::Index at = n + 3 + 4 * static_cast<Eigen::Index>(k);
        job.covariance.block<4, 4>(at, at) = job.features[k].covariance;
    }
}

struct EdgePoint {
    double rho = 0;
    GapOfRay gap;
};

/// The plane that comes first on a ray.
void put_on_contour(const Job& job, const std::vector<Contour>& contours, int ray, EdgePoint& out) {
    const StepModel& model = job.ring.steps.model;
    const Point d = ray_direction(ray);
    std::size_t nearest = static_cast<std::size_t>(job.ring.contour);
    out.rho = contours[nearest].along(d);
    bool stood = stands_on(job, nearest, ray);
    for (std::size_t c = nearest + 1; c < contours.size(); ++c) {
        const double rho = contours[c].along(d);
        if (!stands_on(job, c, ray) || (stood && rho >= out.rho)) continue;
        out.rho = rho;
        nearest = c;
        stood = true;
    }
    std::array<double, 3 + 2 * most_order> f{};
    contours[nearest].slopes(out.rho * d.x, out.rho * d.y, f.data());
    const double rate = std::max(0.3, f[0] * d.x + f[1] * d.y);
    const int base = model.contour_index(static_cast<int>(nearest));
    for (int k = 0; k < contours[nearest].parameters(); ++k)
        out.gap.slope(base + k) = f[static_cast<std::size_t>(k)] / rate;
}

/// Slopes of something read off feature `index`, by differences.
template<typename Read>
void slope_of_feature(const Job& job, int index, GapOfRay& gap, Read&& read) {
    constexpr std::array<double, 4> pace{0.02, 0.02, 0.002, 0.02};
    const Feature& feature = job.features[static_cast<std::size_t>(index)];
    for (int k = 0; k < 4; ++k) {
        const double by = pace[static_cast<std::size_t>(k)];
        const double high = read(feature.moved(k, by)), low = read(feature.moved(k, -by));
        if (high > 0 && low > 0) gap.slope(job.wall_at + 3 + 4 * index + k) = (high - low) / (2 * by);
    }
}

void lean_on_wall(const Job& job, Point d, GapOfRay& gap) {
    const bool wall_in_fit = job.ring.ok && job.ring.steps.model.walls > 0;
    const Eigen::Index at = wall_in_fit ? job.ring.steps.model.shift_index() : job.wall_at;
    gap.slope(at) = -1;
    gap.slope(at + 1) = -d.x;
    gap.slope(at + 2) = -d.y;
}

/// Shortest way from a feature to the wall, which no ray of whole degrees may hit exactly.
GapOfRay nearest_of_feature(const Job& job, int index) {
    GapOfRay gap;
    gap.slope = Eigen::VectorXd::Zero(job.covariance.rows());
    const Feature& feature = job.features[static_cast<std::size_t>(index)];
    const auto from_wall = [&](const Feature& f, int ray) {
        const Point d = ray_direction(ray);
        return f.distance(job.wall.radius_px[idx(ray)] * d.x, job.wall.radius_px[idx(ray)] * d.y);
    };
    for (int i = 1; i < rays; ++i)
        if (from_wall(feature, i) < from_wall(feature, gap.ray)) gap.ray = i;
    const int ray = gap.ray;
    const auto read = [&](const Feature& f) {
        return job.wall.round ? f.distance(0, 0) - job.wall.mean_px : from_wall(f, ray);
    };
    gap.gap_px = read(feature);
    slope_of_feature(job, index, gap, read);
    lean_on_wall(job, ray_direction(ray), gap);
    gap.u_own_px = std::hypot(job.wall.u_ray_px, feature.u_kind_px);
    gap.window = 10;
    return gap;
}

/// Least gap to a feature along directions within a degree of a ray: a corner lies between two rays, and from
/// far away these pass it by px. 1e9: none meets it.
double least_along(const Job& job, int index, int ray) {
    constexpr int parts = 10;
    const Feature& feature = job.features[static_cast<std::size_t>(index)];
    const double wall = job.wall.radius_px[idx(ray)];
    double least = 1e9;
    for (int k = -parts; k <= parts; ++k) {
        const double a = (ray + static_cast<double>(k) / parts) * std::numbers::pi / 180;
        const double rho = feature.along({std::cos(a), -std::sin(a)}, wall, job.searched_px);
        if (rho > 0) least = std::min(least, rho - wall);
    }
    return least;
}

EdgePoint edge_on(const Job& job, const std::vector<Contour>& contours, int ray) {
    const Point d = ray_direction(ray);
    EdgePoint out;
    out.gap.slope = Eigen::VectorXd::Zero(job.covariance.rows());
    switch (job.answer[idx(ray)]) {
    case Answer::feature: {
        const double wall = job.wall.radius_px[idx(ray)];
        const int index = job.feature_of[idx(ray)];
        const auto read = [&](const Feature& f) { return f.along(d, wall, job.searched_px); };
        out.rho = read(job.features[static_cast<std::size_t>(index)]);
        slope_of_feature(job, index, out.gap, read);
        out.gap.u_own_px = job.features[static_cast<std::size_t>(index)].u_kind_px;
        out.gap.window = 10; // one kind for all its rays
        break;
    }
    case Answer::contour:
        put_on_contour(job, contours, ray, out);
        out.gap.smooth = job.wall.round;
        break;
    case Answer::local:
        out.rho = job.local[idx(ray)].rho_px;
        out.gap.u_own_px = job.local[idx(ray)].u_px;
        out.gap.window = job.local[idx(ray)].window;
        break;
    default:
        out.rho = job.far_px[idx(ray)];
        out.gap.u_own_px = 0.5 * std::hypot(job.levels.blur_px, job.patch.smoothing_px);
        out.gap.window = 1;
    }
    out.gap.ray = ray;
    lean_on_wall(job, d, out.gap);
    out.gap.u_own_px = std::hypot(out.gap.u_own_px, job.wall.u_ray_px);
    out.gap.gap_px = distance_to_wall(job.wall, ray, out.rho);
    return out;
}

} // namespace

void fill_profile(Job& job) {
    KeepOut& keepout = job.hole.keepout;
    keepout.profile.assign(rays, {});
    lay_out_covariance(job);
    std::vector<Contour> contours;
    if (job.ring.ok)
        for (const Contour& contour : job.ring.steps.model.contours)
            contours.push_back(true_contour(contour, job.ring.steps.model.blur_px));
    for (int i = 0; i < rays; ++i) {
        GapSample& sample = keepout.profile[idx(i)];
        sample.angle_deg = i;
        switch (job.answer[idx(i)]) {
        case Answer::none:
            sample.reason = GapReason::none;
            continue;
        case Answer::hidden:
            sample.reason = GapReason::hidden;
            continue;
        case Answer::own:
            sample.reason = GapReason::own;
            continue;
        case Answer::merged:
            sample.reason = GapReason::merged;
            continue;
        default:
            break;
        }
        // Copper that own copper runs on into is own copper: where the ring ends there is no gap to
        // another's.
        const bool of_plane = job.ring.ok ? job.all_joined && job.answer[idx(i)] == Answer::contour
                                          : job.runs_on && job.of_own_piece[idx(i)];
        if (of_plane) {
            sample.reason = GapReason::own;
            continue;
        }
        EdgePoint edge = edge_on(job, contours, i);
        const double common = edge.gap.slope.dot(job.covariance * edge.gap.slope);
        sample.gap_px = std::max(0.0, edge.rho - job.wall.radius_px[idx(i)]);
        sample.u_px = std::sqrt(std::max(common, 0.0) + edge.gap.u_own_px * edge.gap.u_own_px);
        sample.reason = GapReason::measured;
        job.gaps.push_back(std::move(edge.gap));
    }
    for (int k = 0; k < static_cast<int>(job.features.size()); ++k) {
        GapOfRay nearest = nearest_of_feature(job, k);
        const std::size_t at = idx(nearest.ray);
        const bool there = job.answer[at] == Answer::feature && job.feature_of[at] == k;
        if (!there) continue;
        if (std::abs(least_along(job, k, nearest.ray) - nearest.gap_px) < 1)
            job.gaps.push_back(std::move(nearest)); // else far off what was seen
    }
}

} // namespace ringwall::rings
