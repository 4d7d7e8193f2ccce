// SPDX-License-Identifier: Apache-2.0
#include "rings/smallest.hpp"

#include "rings/random.hpp"
#include "rings/wall_line.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::rings {
namespace {

/// A square root of a covariance that may be singular.
Eigen::MatrixXd root_of(const Eigen::MatrixXd& covariance) {
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(covariance);
    return eigen.eigenvectors() * eigen.eigenvalues().cwiseMax(0).cwiseSqrt().asDiagonal();
}

/// Rays that can be the smallest in some draw.
std::vector<const GapOfRay*> contenders(const std::vector<GapOfRay>& gaps,
                                        const Eigen::MatrixXd& covariance) {
    double least = 1e9;
    std::size_t raw = 0;
    std::vector<double> u(gaps.size());
    for (std::size_t i = 0; i < gaps.size(); ++i) {
        const double common = gaps[i].slope.size() ? gaps[i].slope.dot(covariance * gaps[i].slope) : 0;
        u[i] = std::sqrt(std::max(common, 0.0) + gaps[i].u_own_px * gaps[i].u_own_px);
        least = std::min(least, gaps[i].gap_px + 4 * u[i]);
        if (gaps[i].gap_px < gaps[raw].gap_px) raw = i;
    }
    std::vector<const GapOfRay*> out;
    for (std::size_t i = 0; i < gaps.size(); ++i) {
        // Every third ray tells all of a smooth contour.
        const bool told = gaps[i].smooth && gaps[i].ray % 3 != 0 && i != raw;
        if (gaps[i].gap_px - 4 * u[i] > least || told) continue;
        out.push_back(&gaps[i]);
    }
    return out;
}

/// White noise of one draw, summed over windows of rays. Rays that no rival's window reaches draw nothing.
struct OwnNoise {
    std::array<double, rays + 1> sum{};
    std::array<bool, rays> needed{};
    explicit OwnNoise(const std::vector<const GapOfRay*>& rivals) {
        for (const GapOfRay* gap : rivals)
            for (int k = -gap->window; k <= gap->window && gap->u_own_px > 0; ++k)
                needed[static_cast<std::size_t>((gap->ray + k + rays) % rays)] = true;
    }
    void draw(Random& random) {
        for (std::size_t i = 0; i < rays; ++i)
            sum[i + 1] = sum[i] + (needed[i] ? random.normal() : 0);
    }
    [[nodiscard]] double at(int ray, int window) const {
        const int from = ray - window, to = ray + window + 1;
        const auto part = [&](int i) { return sum[static_cast<std::size_t>(i)]; };
        double s;
        if (from < 0)
            s = part(to) + part(rays) - part(rays + from);
        else if (to > rays)
            s = part(rays) - part(from) + part(to - rays);
        else
            s = part(to) - part(from);
        return s / std::sqrt(2.0 * window + 1);
    }
};

} // namespace

Smallest smallest_gap(const std::vector<GapOfRay>& gaps, const Eigen::MatrixXd& covariance, double confidence,
                      int draws, std::uint64_t seed) {
    Smallest out;
    const auto raw = std::min_element(
        gaps.begin(), gaps.end(), [](const GapOfRay& a, const GapOfRay& b) { return a.gap_px < b.gap_px; });
    out.ray = raw->ray;
    const std::vector<const GapOfRay*> rivals = contenders(gaps, covariance);
    const Eigen::MatrixXd root = root_of(covariance);
    const bool any_own =
        std::any_of(rivals.begin(), rivals.end(), [](const GapOfRay* g) { return g->u_own_px > 0; });
    Random random(seed);
    OwnNoise own(rivals);
    Eigen::VectorXd white(covariance.rows());
    std::vector<double> minima(static_cast<std::size_t>(draws));
    for (double& minimum : minima) {
        for (Eigen::Index i = 0; i < white.size(); ++i)
            white(i) = random.normal();
        const Eigen::VectorXd shift = root * white;
        if (any_own) own.draw(random);
        minimum = 1e9;
        for (const GapOfRay* gap : rivals) {
            double g = gap->gap_px;
            if (gap->slope.size()) g += gap->slope.dot(shift);
            if (gap->u_own_px > 0) g += gap->u_own_px * own.at(gap->ray, gap->window);
            minimum = std::min(minimum, g);
        }
    }
    double mean = 0, square = 0;
    for (double m : minima)
        mean += m / draws;
    for (double m : minima)
        square += (m - mean) * (m - mean) / (draws - 1);
    std::sort(minima.begin(), minima.end());
    const auto quantile = [&](double q) {
        return minima[static_cast<std::size_t>(std::clamp(q * draws, 0.0, draws - 1.0))];
    };
    out.bias_px = mean - raw->gap_px;
    out.value_px = raw->gap_px - out.bias_px;
    out.u_px = std::sqrt(square);
    out.low_px = out.value_px + quantile(1 - confidence) - mean;
    out.high_px = out.value_px + quantile(confidence) - mean;
    return out;
}

} // namespace ringwall::rings
