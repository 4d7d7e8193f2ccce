// SPDX-License-Identifier: Apache-2.0
#include "rings/polygon_guess.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

struct PolarPoint {
    double rho, angle;
};

/// How far each point lies from the centre along the normal of its nearest side.
void reaches(std::span<const PolarPoint> points, int sides, double turn, std::vector<double>& out) {
    const double part = 2 * std::numbers::pi / sides;
    out.clear();
    for (const PolarPoint& p : points)
        out.push_back(p.rho * std::cos(std::remainder(p.angle - turn, part)));
}

/// Most values within a window of `width`: how many, and the middle of the window.
std::pair<int, double> fullest_window(std::vector<double>& values, double width) {
    std::sort(values.begin(), values.end());
    std::pair<int, double> best{0, 0};
    for (std::size_t from = 0, to = 0; to < values.size(); ++to) {
        while (values[to] - values[from] > width)
            ++from;
        if (const int n = static_cast<int>(to - from) + 1; n > best.first)
            best = {n, 0.5 * (values[from] + values[to])};
    }
    return best;
}

void count_inliers(std::span<const Point> points, double tolerance, GuessedPolygon& guess) {
    guess.inlier.assign(points.size(), false);
    guess.inliers = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (std::abs(guess.contour.outside(points[i].x, points[i].y)) > tolerance) continue;
        guess.inlier[i] = true;
        ++guess.inliers;
    }
}

void refine(std::span<const Point> points, GuessedPolygon& guess) {
    Eigen::Matrix4d a = Eigen::Vector4d(1e-6, 1e-6, 1e-6, 1e-3).asDiagonal();
    Eigen::Vector4d b = Eigen::Vector4d::Zero();
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (!guess.inlier[i]) continue;
        Eigen::Vector4d f;
        guess.contour.slopes(points[i].x, points[i].y, f.data());
        a += f * f.transpose();
        b += f * guess.contour.outside(points[i].x, points[i].y);
    }
    const Eigen::Vector4d step = a.ldlt().solve(b);
    if (!step.allFinite() || step.head<3>().norm() > guess.contour.r50 || std::abs(step(3)) > 0.5) return;
    guess.contour.cx += step(0);
    guess.contour.cy += step(1);
    guess.contour.r50 += step(2);
    guess.contour.turn += step(3);
}

} // namespace

std::optional<GuessedPolygon> guess_polygon(std::span<const Point> points, Point centre, double tolerance,
                                            int least) {
    if (static_cast<int>(points.size()) < least) return std::nullopt;
    std::vector<PolarPoint> polar;
    for (const Point& p : points)
        polar.push_back(
            {std::hypot(p.x - centre.x, p.y - centre.y), std::atan2(p.y - centre.y, p.x - centre.x)});
    GuessedPolygon best;
    std::vector<double> values;
    for (const int sides : {4, 6, 8}) {
        const int turns = 96 / sides;
        for (int k = 0; k < turns; ++k) {
            const double turn = 2 * std::numbers::pi / sides * k / turns;
            reaches(polar, sides, turn, values);
            const auto [n, middle] = fullest_window(values, 3 * tolerance);
            if (n <= best.inliers) continue;
            best.inliers = n;
            best.contour = {centre.x, centre.y, middle, 1, {}, sides, turn};
        }
    }
    for (const double widen : {1.5, 1.2, 1.0, 1.0}) {
        count_inliers(points, widen * tolerance, best);
        refine(points, best);
    }
    count_inliers(points, tolerance, best);
    if (best.inliers < least) return std::nullopt;
    return best;
}

} // namespace ringwall::rings
