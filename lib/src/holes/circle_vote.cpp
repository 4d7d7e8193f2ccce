// SPDX-License-Identifier: Apache-2.0
#include "holes/circle_vote.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>

namespace ringwall::holes {
namespace {

std::optional<Oval> through(Point a, Point b, Point c) {
    const double bx = b.x - a.x, by = b.y - a.y, cx = c.x - a.x, cy = c.y - a.y;
    const double d = 2 * (bx * cy - by * cx);
    if (std::abs(d) < 1e-9) return {};
    const double b2 = bx * bx + by * by, c2 = cx * cx + cy * cy;
    const double ux = (cy * b2 - by * c2) / d, uy = (bx * c2 - cx * b2) / d;
    return Oval{{a.x + ux, a.y + uy}, std::hypot(ux, uy), 0, 0};
}

int votes(const RimPoints& points, const Oval& oval, double tolerance) {
    return static_cast<int>(std::count_if(points.begin(), points.end(),
                                          [&](Point p) { return std::abs(oval.outside(p)) <= tolerance; }));
}

/// Triples 1/3 of the turn apart first, then over shorter arcs, for rims that are partly hidden.
Oval best_of_triples(const RimPoints& points, double tolerance) {
    const std::size_t n = points.size();
    Oval best;
    int most = 0;
    for (const double share : {1.0 / 3, 0.22, 0.14}) {
        const auto apart = std::max<std::size_t>(2, static_cast<std::size_t>(share * static_cast<double>(n)));
        for (std::size_t i = 0; i < n; i += 2) {
            const auto circle = through(points[i], points[(i + apart) % n], points[(i + 2 * apart) % n]);
            if (!circle || circle->radius > 200) continue;
            const int found = votes(points, *circle, tolerance);
            if (found > most) {
                most = found;
                best = *circle;
            }
        }
    }
    return best;
}

double tukey(double residual, double width) {
    const double u = residual / width;
    return std::abs(u) < 1 ? (1 - u * u) * (1 - u * u) : 0.0;
}

/// One weighted Gauss-Newton step; with `harmonic` also a2 and b2.
Oval step(const RimPoints& points, const Oval& oval, double width, bool harmonic) {
    const int unknowns = harmonic ? 5 : 3;
    Eigen::MatrixXd normal = Eigen::MatrixXd::Identity(unknowns, unknowns) * 1e-9;
    Eigen::VectorXd right = Eigen::VectorXd::Zero(unknowns);
    for (const Point p : points) {
        const double residual = oval.outside(p);
        const double weight = tukey(residual, width);
        if (weight <= 0) continue;
        const double a = std::atan2(oval.centre.y - p.y, p.x - oval.centre.x);
        Eigen::VectorXd row(unknowns);
        row.head<3>() << std::cos(a), -std::sin(a), 1;
        if (harmonic) row.tail<2>() << std::cos(2 * a), std::sin(2 * a);
        normal += weight * row * row.transpose();
        right += weight * residual * row;
    }
    const Eigen::VectorXd change = normal.ldlt().solve(right);
    Oval next = oval;
    next.centre.x += change[0];
    next.centre.y += change[1];
    next.radius += change[2];
    if (harmonic) {
        next.a2 += change[3];
        next.b2 += change[4];
    }
    return next;
}

Oval refine(const RimPoints& points, Oval oval, double tolerance, bool harmonic) {
    for (int round = 0; round < 6; ++round)
        oval = step(points, oval, 2 * tolerance, harmonic);
    return oval;
}

bool plausible(const Oval& oval) {
    const bool finite =
        std::isfinite(oval.radius) && std::isfinite(oval.centre.x) && std::isfinite(oval.centre.y);
    return finite && oval.radius > 0 && std::hypot(oval.a2, oval.b2) <= 0.2 * oval.radius;
}

} // namespace

double Oval::reach_from(Point origin, double angle) const {
    const double dx = std::cos(angle), dy = -std::sin(angle);
    double r = radius; // fixed-point: the outline is near a circle and the origin well inside
    for (int round = 0; round < 8; ++round) {
        const double off = outside({origin.x + r * dx, origin.y + r * dy});
        r = std::max(0.0, r - off);
    }
    return r;
}

std::optional<Oval> vote_circle(const RimPoints& points, double tolerance) {
    if (points.size() < 12) return {};
    const Oval start = best_of_triples(points, tolerance);
    if (start.radius <= 0) return {};
    Oval circle = refine(points, start, tolerance, false);
    if (!plausible(circle)) circle = start;
    const int on_circle = votes(points, circle, tolerance);
    if (on_circle < static_cast<int>(0.9 * static_cast<double>(points.size()))) {
        const Oval oval = refine(points, circle, 1.5 * tolerance, true);
        if (plausible(oval) && votes(points, oval, tolerance) > on_circle + 4) return oval;
    }
    return circle;
}

} // namespace ringwall::holes
