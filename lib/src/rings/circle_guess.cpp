// SPDX-License-Identifier: Apache-2.0
#include "rings/circle_guess.hpp"

#include "rings/random.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>

#include <cmath>

namespace ringwall::rings {
namespace {

bool circle_through(Point a, Point b, Point c, Point& centre, double& radius) {
    const double bx = b.x - a.x, by = b.y - a.y, cx = c.x - a.x, cy = c.y - a.y;
    const double d = 2 * (bx * cy - by * cx);
    if (std::abs(d) < 1e-6) return false;
    const double b2 = bx * bx + by * by, c2 = cx * cx + cy * cy;
    const double ux = (cy * b2 - by * c2) / d, uy = (bx * c2 - cx * b2) / d;
    centre = {a.x + ux, a.y + uy};
    radius = std::sqrt(ux * ux + uy * uy);
    return true;
}

void count_inliers(std::span<const Point> points, double tolerance, GuessedCircle& circle) {
    circle.inlier.assign(points.size(), false);
    circle.inliers = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double d = std::hypot(points[i].x - circle.centre.x, points[i].y - circle.centre.y);
        if (std::abs(d - circle.radius) > tolerance) continue;
        circle.inlier[i] = true;
        ++circle.inliers;
    }
}

void refine(std::span<const Point> points, GuessedCircle& circle) {
    Eigen::Matrix3d a = Eigen::Matrix3d::Identity() * 1e-9;
    Eigen::Vector3d b = Eigen::Vector3d::Zero();
    for (std::size_t i = 0; i < points.size(); ++i) {
        if (!circle.inlier[i]) continue;
        const double dx = points[i].x - circle.centre.x, dy = points[i].y - circle.centre.y;
        const double d = std::max(std::hypot(dx, dy), 1e-9);
        const Eigen::Vector3d f(dx / d, dy / d, 1);
        a += f * f.transpose();
        b += f * (d - circle.radius);
    }
    const Eigen::Vector3d step = a.ldlt().solve(b);
    if (!step.allFinite() || step.norm() > circle.radius) return;
    circle.centre.x += step(0);
    circle.centre.y += step(1);
    circle.radius += step(2);
}

} // namespace

std::optional<GuessedCircle> guess_circle(std::span<const Point> points, double tolerance, int least,
                                          std::uint64_t seed) {
    const int n = static_cast<int>(points.size());
    if (n < std::max(least, 12)) return std::nullopt;
    Random random(seed);
    GuessedCircle best, trial;
    for (int attempt = 0; attempt < 60; ++attempt) {
        // One point of each third of the turn's points: triples close together give wild circles.
        const int turn = random.below(n), third = n / 3;
        const auto pick = [&](int k) {
            return points[static_cast<std::size_t>((turn + k * third + random.below(third)) % n)];
        };
        if (!circle_through(pick(0), pick(1), pick(2), trial.centre, trial.radius)) continue;
        if (std::hypot(trial.centre.x, trial.centre.y) >= trial.radius) continue;
        count_inliers(points, tolerance, trial);
        if (trial.inliers > best.inliers) best = trial;
        if (best.inliers > 0.95 * n) break;
    }
    if (best.inliers < least) return std::nullopt;
    for (int round = 0; round < 3; ++round) {
        refine(points, best);
        count_inliers(points, tolerance, best);
    }
    if (best.inliers < least) return std::nullopt;
    return best;
}

} // namespace ringwall::rings
