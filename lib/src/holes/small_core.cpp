// SPDX-License-Identifier: Apache-2.0
#include "holes/small_core.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

namespace ringwall::holes {
namespace {

/// exp(-x) I0(x), x >= 0: polynomials 9.8.1 and 9.8.2 of Abramowitz and Stegun, to 2e-7.
double scaled_bessel_i0(double x) {
    if (x < 3.75) {
        const double t = (x / 3.75) * (x / 3.75);
        const double sum =
            1 + t * (3.5156229 +
                     t * (3.0899424 + t * (1.2067492 + t * (0.2659732 + t * (0.0360768 + t * 0.0045813)))));
        return sum * std::exp(-x);
    }
    const double t = 3.75 / x;
    const double sum =
        0.39894228 +
        t * (0.01328592 +
             t * (0.00225319 +
                  t * (-0.00157565 +
                       t * (0.00916281 +
                            t * (-0.02057706 + t * (0.02635537 + t * (-0.01647633 + t * 0.00392377)))))));
    return sum / std::sqrt(x);
}

constexpr double table_step = 0.1;
constexpr int table_side = 121; // rho and radius up to 12 sigma
constexpr double table_end = (table_side - 1) * table_step;
using Table = std::array<std::array<float, table_side>, table_side>; ///< [rho][radius]

Table make_table() {
    constexpr int parts = 4; // midpoint rule within a step
    Table table{};
    for (int i = 0; i < table_side; ++i) {
        const double rho = i * table_step;
        double sum = 0;
        for (int j = 1; j < table_side; ++j) {
            for (int k = 0; k < parts; ++k) {
                const double r = (j - 1 + (k + 0.5) / parts) * table_step;
                sum += r * std::exp(-0.5 * (rho - r) * (rho - r)) * scaled_bessel_i0(rho * r) * table_step /
                       parts;
            }
            table[static_cast<std::size_t>(i)][static_cast<std::size_t>(j)] =
                static_cast<float>(std::min(sum, 1.0));
        }
    }
    return table;
}

/// Mean T against distance from the centre.
struct Profile {
    std::vector<double> rho, mean, count;
};

Profile radial_profile(ImageView<const float> picture, const Rim& rim, double reach) {
    constexpr double width = 0.5;
    Profile p;
    const auto bins = static_cast<std::size_t>(reach / width);
    std::vector<double> sum(bins), distance(bins), count(bins);
    const int x0 = static_cast<int>(rim.centre.x - reach), y0 = static_cast<int>(rim.centre.y - reach);
    const int side = static_cast<int>(2 * reach) + 2;
    for (int y = std::max(0, y0); y < std::min(picture.height(), y0 + side); ++y)
        for (int x = std::max(0, x0); x < std::min(picture.width(), x0 + side); ++x) {
            const double dx = x - rim.centre.x, dy = rim.centre.y - y, d = std::hypot(dx, dy);
            const auto bin = static_cast<std::size_t>(d / width);
            if (bin >= bins) continue;
            const double turn = std::atan2(dy, dx) / (2 * std::numbers::pi) + 1;
            const auto ray = static_cast<std::size_t>(std::lround(turn * rim_rays)) % rim_rays;
            if (d > 1 && rim.ends[ray] != RayEnd::rim) continue;
            sum[bin] += picture(x, y), distance[bin] += d, count[bin] += 1;
        }
    for (std::size_t i = 0; i < bins; ++i)
        if (count[i] > 0) {
            p.rho.push_back(distance[i] / count[i]);
            p.mean.push_back(sum[i] / count[i]);
            p.count.push_back(count[i]);
        }
    return p;
}

struct Trial {
    SmallCore levels;
    double chi2 = 0;
};

/// Levels for one pair of radius and wall width; sigmas for unit noise, scaled by the caller's.
Trial try_widths(const Profile& p, double radius, double wall, double noise, double blur) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Identity() * 1e-6;
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double squares = 0;
    for (std::size_t i = 0; i < p.rho.size(); ++i) {
        const double inner = blurred_disc(p.rho[i] / blur, radius / blur);
        const double outer = blurred_disc(p.rho[i] / blur, (radius + wall) / blur);
        const Eigen::Vector3d row(inner, outer - inner, 1 - outer);
        normal += p.count[i] * row * row.transpose();
        right += p.count[i] * p.mean[i] * row;
        squares += p.count[i] * p.mean[i] * p.mean[i];
    }
    const Eigen::Matrix3d inverse = normal.inverse();
    const Eigen::Vector3d level = inverse * right;
    Trial t;
    t.chi2 = (squares - level.dot(right)) / (noise * noise);
    t.levels = {radius,   wall,     level[0], noise * std::sqrt(std::max(0.0, inverse(0, 0))),
                level[1], level[2], 0,        0};
    const double ring = inverse(1, 1) + inverse(2, 2) - 2 * inverse(1, 2);
    const double step = inverse(0, 0) + inverse(2, 2) - 2 * inverse(0, 2);
    t.levels.ring_sigmas = (level[2] - level[1]) / (noise * std::sqrt(std::max(ring, 1e-9)));
    t.levels.contrast_sigmas = (level[0] - level[2]) / (noise * std::sqrt(std::max(step, 1e-9)));
    return t;
}

std::vector<Trial> trials(const Profile& p, double radius, double noise, double blur) {
    std::vector<Trial> all;
    for (double r = std::max(1.0, radius - 0.6); r <= radius + 1.2 * blur + 0.6; r += 0.2)
        for (const double wall : {0.7, 1.0, 1.4, 2.0, 3.0}) {
            const Trial t = try_widths(p, r, wall, noise, blur);
            if (t.levels.wall > -0.1 && t.levels.wall < t.levels.core) all.push_back(t);
        }
    return all;
}

} // namespace

double blurred_disc(double rho, double radius) {
    static const Table table = make_table();
    if (radius >= table_end) return rho < radius ? 1 : 0;
    const double u = std::min(rho, table_end - 1e-6) / table_step, v = std::max(radius, 0.0) / table_step;
    const auto i = static_cast<std::size_t>(u), j = static_cast<std::size_t>(v);
    const double fu = u - static_cast<double>(i), fv = v - static_cast<double>(j);
    const double low = (1 - fv) * table[i][j] + fv * table[i][j + 1];
    const double high = (1 - fv) * table[i + 1][j] + fv * table[i + 1][j + 1];
    return (1 - fu) * low + fu * high;
}

std::optional<SmallCore> fit_small_core(ImageView<const float> picture, const Rim& rim, double noise,
                                        double blur_px) {
    const Profile profile = radial_profile(picture, rim, rim.radius + 1.2 * blur_px + 3.5);
    if (profile.rho.size() < 8) return {};
    const std::vector<Trial> all = trials(profile, rim.radius, noise, blur_px);
    if (all.empty()) return {};
    const Trial& best = *std::min_element(all.begin(), all.end(),
                                          [](const Trial& a, const Trial& b) { return a.chi2 < b.chi2; });
    double low = best.levels.core, high = low;
    for (const Trial& t : all)
        if (t.chi2 < best.chi2 + 1) low = std::min(low, t.levels.core), high = std::max(high, t.levels.core);
    SmallCore core = best.levels;
    core.core_sigma = std::hypot(core.core_sigma, 0.5 * (high - low));
    return core;
}

} // namespace ringwall::holes
