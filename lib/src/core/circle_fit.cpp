// SPDX-License-Identifier: Apache-2.0
#include "core/circle_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace ringwall {

namespace {

constexpr int most_rounds = 60;
constexpr double tukey_cut = 4.685;
constexpr double mad_to_sigma = 1.4826;

double weight_at(std::span<const double> weights, std::size_t i) {
    return weights.empty() ? 1.0 : weights[i];
}

/// Taubin's fit by Newton's method on its characteristic polynomial, centred data (Chernov 2010,
/// section 5.10).
CircleFit fit_taubin(std::span<const Point> points, std::span<const double> weights) {
    double total = 0, mean_x = 0, mean_y = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double w = weight_at(weights, i);
        total += w, mean_x += w * points[i].x, mean_y += w * points[i].y;
    }
    if (points.size() < 3 || total <= 0) return {};
    mean_x /= total, mean_y /= total;
    double xx = 0, yy = 0, xy = 0, xz = 0, yz = 0, zz = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double w = weight_at(weights, i) / total, x = points[i].x - mean_x, y = points[i].y - mean_y,
                     z = x * x + y * y;
        xx += w * x * x, yy += w * y * y, xy += w * x * y, xz += w * x * z, yz += w * y * z, zz += w * z * z;
    }
    const double z = xx + yy, covariance = xx * yy - xy * xy, variance = zz - z * z;
    const double a3 = 4 * z, a2 = -3 * z * z - zz, a1 = variance * z + 4 * covariance * z - xz * xz - yz * yz;
    const double a0 = xz * (xz * yy - yz * xy) + yz * (yz * xx - xz * xy) - variance * covariance;
    double root = 0;
    for (int i = 0; i < most_rounds; ++i) {
        const double value = a0 + root * (a1 + root * (a2 + root * a3)),
                     slope = a1 + root * (2 * a2 + root * 3 * a3);
        if (slope == 0) break;
        const double next = root - value / slope;
        if (!std::isfinite(next) || std::abs(next - root) <= 1e-14 * std::abs(root)) break;
        root = next;
    }
    const double determinant = root * root - root * z + covariance;
    if (!(std::abs(determinant) > 1e-12 * z * z)) return {};
    const double cx = (xz * (yy - root) - yz * xy) / determinant / 2,
                 cy = (yz * (xx - root) - xz * xy) / determinant / 2;
    return {true, {cx + mean_x, cy + mean_y}, std::sqrt(cx * cx + cy * cy + z), 0};
}

/// Solves the symmetric 3x3 system by Cramer's rule; false when singular.
bool solve3(const std::array<double, 6>& a, const std::array<double, 3>& b, std::array<double, 3>& x) {
    const auto [m00, m01, m02, m11, m12, m22] = a;
    const double c00 = m11 * m22 - m12 * m12, c01 = m02 * m12 - m01 * m22, c02 = m01 * m12 - m02 * m11;
    const double determinant = m00 * c00 + m01 * c01 + m02 * c02;
    if (!(std::abs(determinant) > 1e-15 * m00 * m11 * m22)) return false;
    const double c11 = m00 * m22 - m02 * m02, c12 = m01 * m02 - m00 * m12, c22 = m00 * m11 - m01 * m01;
    x = {(c00 * b[0] + c01 * b[1] + c02 * b[2]) / determinant,
         (c01 * b[0] + c11 * b[1] + c12 * b[2]) / determinant,
         (c02 * b[0] + c12 * b[1] + c22 * b[2]) / determinant};
    return true;
}

double squared_misfit(std::span<const Point> points, std::span<const double> weights, const CircleFit& c) {
    double sum = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double d = std::hypot(points[i].x - c.centre.x, points[i].y - c.centre.y) - c.radius;
        sum += weight_at(weights, i) * d * d;
    }
    return sum;
}

/// One Levenberg-Marquardt step of the geometric fit; false when no step lowers the misfit any more.
bool improve(std::span<const Point> points, std::span<const double> weights, CircleFit& c, double& damping) {
    std::array<double, 6> a{};
    std::array<double, 3> b{}, step{};
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double dx = points[i].x - c.centre.x, dy = points[i].y - c.centre.y,
                     rho = std::max(std::hypot(dx, dy), 1e-12);
        const double w = weight_at(weights, i), ux = dx / rho, uy = dy / rho, d = rho - c.radius;
        a[0] += w * ux * ux, a[1] += w * ux * uy, a[2] += w * ux, a[3] += w * uy * uy, a[4] += w * uy,
            a[5] += w;
        b[0] += w * ux * d, b[1] += w * uy * d, b[2] += w * d;
    }
    const double before = squared_misfit(points, weights, c);
    for (; damping < 1e8; damping *= 10) {
        auto damped = a;
        for (std::size_t diagonal : {0U, 3U, 5U})
            damped[diagonal] *= 1 + damping;
        if (!solve3(damped, b, step)) continue;
        const CircleFit next{true, {c.centre.x + step[0], c.centre.y + step[1]}, c.radius + step[2], 0};
        if (!(squared_misfit(points, weights, next) <= before)) continue;
        c = next;
        damping = std::max(damping / 10, 1e-12);
        return std::abs(step[0]) + std::abs(step[1]) + std::abs(step[2]) > 1e-12 * (1 + std::abs(c.radius));
    }
    return false;
}

} // namespace

CircleFit fit_circle(std::span<const Point> points, std::span<const double> weights) {
    CircleFit c = fit_taubin(points, weights);
    if (!c.ok) return c;
    double damping = 1e-6;
    for (int i = 0; i < most_rounds && improve(points, weights, c, damping); ++i) {
    }
    double total = 0;
    for (std::size_t i = 0; i < points.size(); ++i)
        total += weight_at(weights, i);
    c.rms = std::sqrt(squared_misfit(points, weights, c) / total);
    return c;
}

CircleFit fit_circle_robust(std::span<const Point> points, std::span<const double> weights) {
    std::vector<double> tukey(points.size());
    for (std::size_t i = 0; i < points.size(); ++i)
        tukey[i] = weight_at(weights, i);
    CircleFit c = fit_circle(points, tukey);
    for (int round = 0; c.ok && round < 10; ++round) {
        std::vector<double> size(points.size());
        for (std::size_t i = 0; i < points.size(); ++i)
            size[i] = std::abs(std::hypot(points[i].x - c.centre.x, points[i].y - c.centre.y) - c.radius);
        auto sorted = size;
        std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2),
                         sorted.end());
        const double scale = std::max(mad_to_sigma * sorted[sorted.size() / 2], 1e-9) * tukey_cut;
        for (std::size_t i = 0; i < points.size(); ++i) {
            const double z = size[i] / scale;
            tukey[i] = z < 1 ? weight_at(weights, i) * (1 - z * z) * (1 - z * z) : 0;
        }
        const CircleFit next = fit_circle(points, tukey);
        if (!next.ok) break;
        c = next;
    }
    return c;
}

} // namespace ringwall
