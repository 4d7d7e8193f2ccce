// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

/// The contour of the true edge: blur moves the half-height line towards the centre of curvature by blur^2 /
/// 2R.
Contour true_contour(const Contour& half_height, double blur_px) {
    Contour out = half_height;
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
    job.covariance = Eigen::MatrixXd::Zero(n + 3, n + 3);
    if (n > 0) job.covariance.topLeftCorner(n, n) = job.ring.steps.covariance;
    const bool wall_in_fit = job.ring.ok && job.ring.steps.model.walls > 0;
    const double u_radius = wall_in_fit ? 0 : job.wall.u_radius_px;
    job.covariance(n, n) = u_radius * u_radius;
    job.covariance(n + 1, n + 1) = job.wall.u_x_px * job.wall.u_x_px;
    job.covariance(n + 2, n + 2) = job.wall.u_y_px * job.wall.u_y_px;
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
    for (std::size_t c = nearest + 1; c < contours.size(); ++c)
        if (const double rho = contours[c].along(d); rho < out.rho) {
            out.rho = rho;
            nearest = c;
        }
    std::array<double, 3 + 2 * most_order> f{};
    contours[nearest].slopes(out.rho * d.x, out.rho * d.y, f.data());
    const double rate = std::max(0.3, f[0] * d.x + f[1] * d.y);
    const int base = model.contour_index(static_cast<int>(nearest));
    for (int k = 0; k < contours[nearest].parameters(); ++k)
        out.gap.slope(base + k) = f[static_cast<std::size_t>(k)] / rate;
    if (model.walls == 0) return;
    out.gap.slope(model.shift_index()) = -1;
    out.rho -= model.wall_shift_px;
}

EdgePoint edge_on(const Job& job, const std::vector<Contour>& contours, int ray) {
    const Eigen::Index n = job.covariance.rows() - 3;
    const Point d = ray_direction(ray);
    EdgePoint out;
    out.gap.slope = Eigen::VectorXd::Zero(n + 3);
    switch (job.answer[idx(ray)]) {
    case Answer::contour:
        put_on_contour(job, contours, ray, out);
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
    out.gap.slope(n) = -1;
    out.gap.slope(n + 1) = -d.x;
    out.gap.slope(n + 2) = -d.y;
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
        default:
            break;
        }
        EdgePoint edge = edge_on(job, contours, i);
        const double common = edge.gap.slope.dot(job.covariance * edge.gap.slope);
        sample.gap_px = std::max(0.0, edge.rho - job.wall.radius_px[idx(i)]);
        sample.u_px = std::sqrt(std::max(common, 0.0) + edge.gap.u_own_px * edge.gap.u_own_px);
        sample.reason = GapReason::measured;
        if (!(job.runs_on && (job.ring.ok || job.of_own_piece[idx(i)])))
            job.gaps.push_back(std::move(edge.gap));
    }
}

} // namespace ringwall::rings
