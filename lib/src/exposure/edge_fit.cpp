// SPDX-License-Identifier: Apache-2.0
#include "exposure/edge_fit.hpp"

#include "core/normal_table.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::exposure {
namespace {

constexpr double root_2 = 1.4142135623730951;

/// Calls f(n, t, value) for the pixels of the window.
template<typename F>
void over_window(ImageView<const float> picture, const Edge& edge, const F& f) {
    const double c = std::cos(edge.normal_rad), s = std::sin(edge.normal_rad);
    const int reach = static_cast<int>(std::ceil(std::hypot(edge_half_length_px, edge_half_width_px)));
    const int cx = static_cast<int>(std::lround(edge.at_px.x)),
              cy = static_cast<int>(std::lround(edge.at_px.y));
    for (int y = std::max(0, cy - reach); y <= std::min(picture.height() - 1, cy + reach); ++y)
        for (int x = std::max(0, cx - reach); x <= std::min(picture.width() - 1, cx + reach); ++x) {
            const double dx = x - edge.at_px.x, dy = y - edge.at_px.y;
            const double n = dx * c + dy * s, t = dy * c - dx * s;
            if (std::abs(n) <= edge_half_length_px && std::abs(t) <= edge_half_width_px)
                f(n, t, picture(x, y));
        }
}

bool window_inside(ImageView<const float> picture, const Point& p) {
    const double reach = edge_half_length_px + 2;
    return p.x >= reach && p.y >= reach && p.x < picture.width() - reach && p.y < picture.height() - reach;
}

struct Profile {
    static constexpr int half = edge_half_length_px;
    std::array<double, 2 * half + 1> mean{};
    bool complete = true;
};

Profile profile_along(ImageView<const float> picture, const Edge& edge) {
    Profile profile;
    std::array<double, 2 * Profile::half + 1> count{};
    over_window(picture, edge, [&](double n, double, double value) {
        const auto i = static_cast<std::size_t>(std::lround(n) + Profile::half);
        profile.mean[i] += value;
        count[i] += 1;
    });
    for (std::size_t i = 0; i < count.size(); ++i) {
        profile.complete = profile.complete && count[i] > 0;
        profile.mean[i] /= std::max(count[i], 1.0);
    }
    return profile;
}

double mean_of(const Profile& profile, int from, int to) {
    double sum = 0;
    for (int i = from; i <= to; ++i)
        sum += profile.mean[static_cast<std::size_t>(i + Profile::half)];
    return sum / (to - from + 1);
}

/// What one pixel of the window says about the edge's six values.
struct PixelRow {
    Eigen::Matrix<double, 6, 1> slope;
    double residual = 0;
    double variance = 1;
    double z = 0; ///< distance from the edge over its width
};

/// Calls f(row) for the pixels of the window.
template<typename F>
void over_rows_of(ImageView<const float> t, const NoiseModel& noise, const Edge& edge, const F& f) {
    const double dark_sigma = std::max(noise.sigma(edge.dark), 1e-4);
    const double bright_sigma = std::max(noise.sigma(edge.dark + edge.step), 1e-4);
    const NormalTable& normal = NormalTable::get();
    PixelRow row;
    over_window(t, edge, [&](double n, double across, double value) {
        const double d = n - edge.offset_px - 0.5 * edge.curvature_per_px * across * across;
        const double z = d / edge.sigma_px;
        const NormalTable::Value at = normal.at(z);
        const double share = at.cdf, slope = edge.step * at.pdf / edge.sigma_px;
        row.z = z;
        row.variance = dark_sigma * dark_sigma * (1 - share) + bright_sigma * bright_sigma * share;
        row.residual = value - edge.dark - edge.step * share;
        row.slope << 1, share, -slope, slope * across, -0.5 * slope * across * across, -slope * z;
        f(row);
    });
}

} // namespace

bool start_edge(ImageView<const float> t, const NoiseModel& noise, Edge& edge) {
    for (int round = 0; round < 2; ++round) {
        if (!window_inside(t, edge.at_px)) return false;
        const Profile profile = profile_along(t, edge);
        if (!profile.complete) return false;
        double best = 0;
        int place = 0;
        for (int i = -5; i <= 5; ++i) {
            const double step = mean_of(profile, i + 1, i + 4) - mean_of(profile, i - 4, i - 1);
            if (step > best) {
                best = step;
                place = i;
            }
        }
        edge.at_px.x += place * std::cos(edge.normal_rad);
        edge.at_px.y += place * std::sin(edge.normal_rad);
        edge.dark = mean_of(profile, std::max(place - 5, -Profile::half), place - 2);
        edge.step = mean_of(profile, place + 2, std::min(place + 5, Profile::half)) - edge.dark;
    }
    edge.offset_px = edge.curvature_per_px = 0;
    edge.sigma_px = 1.2;
    constexpr double pixels_a_side = 4 * (2 * edge_half_width_px + 1);
    return window_inside(t, edge.at_px) && edge.step > 4 * root_2 * noise.sigma(edge.dark + edge.step) *
                                                           std::sqrt(noise.correlation / pixels_a_side);
}

EdgeEquations linearise(ImageView<const float> t, const NoiseModel& noise, const Edge& edge) {
    EdgeEquations equations;
    over_rows_of(t, noise, edge, [&](const PixelRow& row) {
        for (int j = 0; j < 6; ++j) { // the lower triangle is all that is read
            const double weighted = 1 / row.variance * row.slope[j];
            for (int i = j; i < 6; ++i)
                equations.matrix(i, j) += weighted * row.slope[i];
        }
        equations.right += row.slope * (row.residual / row.variance);
        equations.chi2 += row.residual * row.residual / row.variance;
        equations.squares += row.residual * row.residual;
        equations.pixels += 1;
    });
    // Bores measure 30 px and more in radius, board edges are straight: a noisy edge must not wriggle.
    constexpr double usual_curvature = 0.02;
    equations.matrix(4, 4) += 1 / (usual_curvature * usual_curvature);
    equations.right[4] -= edge.curvature_per_px / (usual_curvature * usual_curvature);
    return equations;
}

double second_step_sigmas(ImageView<const float> t, const NoiseModel& noise, const Edge& edge) {
    Eigen::Matrix<double, 6, 6> matrix = Eigen::Matrix<double, 6, 6>::Identity() * 1e-9;
    Eigen::Matrix<double, 6, 1> across = Eigen::Matrix<double, 6, 1>::Zero(), right = across;
    double own = 0, pull = 0;
    over_rows_of(t, noise, edge, [&](const PixelRow& row) {
        const double bump = std::exp(-0.5 * (row.z + 1.4) * (row.z + 1.4));
        matrix += row.slope * row.slope.transpose() / row.variance;
        across += row.slope * (bump / row.variance);
        right += row.slope * (row.residual / row.variance);
        own += bump * bump / row.variance;
        pull += bump * row.residual / row.variance;
    });
    const Eigen::LDLT<Eigen::Matrix<double, 6, 6>> solver(matrix);
    const double weight = own - across.dot(solver.solve(across));
    return weight > 0 ? (pull - across.dot(solver.solve(right))) / std::sqrt(weight) : 0;
}

void move_edge(Edge& edge, const Eigen::Matrix<double, 6, 1>& by, bool hold_sigma) {
    edge.dark += by[0];
    edge.step += by[1];
    edge.offset_px += std::clamp(by[2], -1.5, 1.5);
    edge.normal_rad += std::clamp(by[3], -0.2, 0.2);
    edge.curvature_per_px += std::clamp(by[4], -0.05, 0.05);
    if (!hold_sigma)
        edge.sigma_px = std::clamp(edge.sigma_px + by[5], 0.6 * edge.sigma_px, 1.6 * edge.sigma_px);
}

void fit_edge(ImageView<const float> t, const NoiseModel& noise, Edge& edge) {
    double damping = 1e-3;
    EdgeEquations now = linearise(t, noise, edge);
    for (int round = 0; round < 12; ++round) {
        Eigen::Matrix<double, 6, 6> matrix = now.matrix.selfadjointView<Eigen::Lower>();
        matrix.diagonal() *= 1 + damping;
        const Eigen::Matrix<double, 6, 1> by = matrix.ldlt().solve(now.right);
        if (!by.allFinite()) return;
        Edge moved = edge;
        move_edge(moved, by, false);
        const EdgeEquations next = linearise(t, noise, moved);
        if (next.chi2 > now.chi2) {
            damping *= 10;
            if (damping > 1e3) break;
            continue;
        }
        const bool done = now.chi2 - next.chi2 < 1e-3;
        edge = moved;
        now = next;
        damping = std::max(damping / 10, 1e-6);
        if (done) break;
    }
    const Eigen::Matrix<double, 6, 6> full = now.matrix.selfadjointView<Eigen::Lower>();
    const Eigen::Matrix<double, 6, 1> unit = Eigen::Matrix<double, 6, 1>::Unit(5);
    edge.chi2 = now.chi2 / std::max(now.pixels - 6, 1.0);
    edge.relative_residual = std::sqrt(now.squares / now.pixels) / std::abs(edge.step);
    edge.sigma_u_px = std::sqrt(std::max(0.0, full.ldlt().solve(unit)[5]) * std::max(1.0, edge.chi2));
    edge.usable = edge.step > 0 && std::isfinite(edge.sigma_px) && std::abs(edge.offset_px) < 4 &&
                  edge.sigma_px > 0.2 && edge.sigma_px < 5 && edge.sigma_u_px > 0;
}

} // namespace ringwall::exposure
