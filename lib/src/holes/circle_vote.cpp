// SPDX-License-Identifier: Apache-2.0
#include "holes/circle_vote.hpp"

#include "core/wide.hpp"

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

/// Points on a plain circle, without roots or angles: this runs for every triple.
RINGWALL_WIDE int votes_on_circle(const RimPoints& points, const Oval& circle, double tolerance) {
    const double inner = std::max(0.0, circle.radius - tolerance), outer = circle.radius + tolerance;
    int n = 0;
    for (std::size_t i = 0; i < points.size(); ++i) {
        const double dx = points[i].x - circle.centre.x, dy = points[i].y - circle.centre.y;
        const double d2 = dx * dx + dy * dy;
        n += static_cast<int>(d2 >= inner * inner) & static_cast<int>(d2 <= outer * outer);
    }
    return n;
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
        for (std::size_t i = 0; i < n; i += 4) {
            const auto circle = through(points[i], points[(i + apart) % n], points[(i + 2 * apart) % n]);
            if (!circle || circle->radius > 200) continue;
            const int found = votes_on_circle(points, *circle, tolerance);
            if (found > most) {
                most = found;
                best = *circle;
            }
        }
        if (most >= static_cast<int>(0.85 * static_cast<double>(n))) break;
    }
    return best;
}

constexpr std::size_t most_points = 64;

/// Of so many points at a time: direction from the oval's centre, distance beyond it, Tukey's weight.
struct Offsets {
    std::array<double, most_points> c, s, residual, weight;
};

RINGWALL_WIDE void offsets_of(const Point* points, std::size_t count, const Oval& oval, double width,
                              Offsets& out) {
    for (std::size_t i = 0; i < count; ++i) {
        const double dx = points[i].x - oval.centre.x, dy = oval.centre.y - points[i].y;
        const double r = std::max(std::sqrt(dx * dx + dy * dy), 1e-9);
        const double c = dx / r, s = dy / r, c2 = c * c - s * s, s2 = 2 * c * s;
        const double residual = r - (oval.radius + oval.a2 * c2 + oval.b2 * s2), u = residual / width;
        const double inside = 1 - u * u;
        out.c[i] = c, out.s[i] = s, out.residual[i] = residual;
        out.weight[i] = std::abs(u) < 1 ? inside * inside : 0.0;
    }
}

/// One weighted Gauss-Newton step over centre and radius, with 5 unknowns also a2 and b2.
template<int unknowns>
Oval step(const RimPoints& points, const Oval& oval, double width) {
    using Row = Eigen::Matrix<double, unknowns, 1>;
    Eigen::Matrix<double, unknowns, unknowns> normal =
        Eigen::Matrix<double, unknowns, unknowns>::Identity() * 1e-9;
    Row right = Row::Zero();
    Offsets at;
    for (std::size_t first = 0; first < points.size(); first += most_points) {
        const std::size_t count = std::min(most_points, points.size() - first);
        offsets_of(&points[first], count, oval, width, at);
        for (std::size_t i = 0; i < count; ++i) {
            const double c = at.c[i], s = at.s[i];
            if (at.weight[i] == 0) continue;
            Row row;
            row[0] = c, row[1] = -s, row[2] = 1;
            if constexpr (unknowns == 5) row[3] = c * c - s * s, row[4] = 2 * c * s;
            for (int j = 0; j < unknowns; ++j) { // the lower triangle is all that is read
                const double weighted = at.weight[i] * row[j];
                for (int k = 0; k <= j; ++k)
                    normal(j, k) += weighted * row[k];
                right[j] += at.weight[i] * at.residual[i] * row[j];
            }
        }
    }
    const Row change = normal.ldlt().solve(right);
    Oval next = oval;
    next.centre = {oval.centre.x + change[0], oval.centre.y + change[1]};
    next.radius += change[2];
    if constexpr (unknowns == 5) next.a2 += change[3], next.b2 += change[4];
    return next;
}

Oval refine(const RimPoints& points, Oval oval, double tolerance, bool harmonic) {
    for (int round = 0; round < 5; ++round)
        oval = harmonic ? step<5>(points, oval, 2 * tolerance) : step<3>(points, oval, 2 * tolerance);
    return oval;
}

bool plausible(const Oval& oval) {
    const bool finite =
        std::isfinite(oval.radius) && std::isfinite(oval.centre.x) && std::isfinite(oval.centre.y);
    return finite && oval.radius > 0 && std::hypot(oval.a2, oval.b2) <= 0.16 * oval.radius;
}

} // namespace

double Oval::reach_from(Point origin, Point direction) const {
    const double dx = direction.x, dy = direction.y;
    // Where the ray leaves the circle; the rest by fixed-point, the outline being near it.
    const double fx = centre.x - origin.x, fy = centre.y - origin.y, along = fx * dx + fy * dy;
    const double under = radius * radius - (fx * fx + fy * fy - along * along);
    double r = std::max(0.0, along + std::sqrt(std::max(under, 0.0)));
    for (int round = 0; round < 4 && (a2 != 0 || b2 != 0); ++round)
        r = std::max(0.0, r - outside({origin.x + r * dx, origin.y + r * dy}));
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
