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
    return Oval{{a.x + ux, a.y + uy}, std::sqrt(ux * ux + uy * uy), 0, 0};
}

/// Points on a plain circle, without roots or angles: this runs for every triple.
RINGWALL_WIDE int votes_on_circle(const RimPoints& points, const Oval& circle, double tolerance) {
    const double inner = std::max(0.0, circle.radius - tolerance), outer = circle.radius + tolerance;
    int n = 0;
    for (const Point point : points) {
        const double dx = point.x - circle.centre.x, dy = point.y - circle.centre.y;
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
constexpr int most_unknowns = 5;

/// Of so many points at a time: slopes of the outline's distance by centre, radius, a2 and b2, then the
/// distance beyond the outline, and Tukey's weight.
struct Offsets {
    using Column = std::array<double, most_points>;
    alignas(sizeof(Lanes)) std::array<Column, most_unknowns + 1> by;
    alignas(sizeof(Lanes)) Column weight;
};
using Products = std::array<std::array<double, most_unknowns + 1>, most_unknowns>; ///< weighted sums

RINGWALL_WIDE void offsets_of(const Point* points, std::size_t count, const Oval& oval, double width,
                              Offsets& out) {
    for (std::size_t i = 0; i < count; ++i) {
        const double dx = points[i].x - oval.centre.x, dy = oval.centre.y - points[i].y;
        const double r = std::max(std::sqrt(dx * dx + dy * dy), 1e-9);
        const double c = dx / r, s = dy / r, c2 = c * c - s * s, s2 = 2 * c * s;
        const double residual = r - (oval.radius + oval.a2 * c2 + oval.b2 * s2), u = residual / width;
        const double inside = 1 - u * u;
        out.by[0][i] = c, out.by[1][i] = -s, out.by[2][i] = 1, out.by[3][i] = c2, out.by[4][i] = s2;
        out.by[most_unknowns][i] = residual;
        out.weight[i] = std::abs(u) < 1 ? inside * inside : 0.0;
    }
}

/// Products of every two of the first `unknowns` slopes (upper triangle), and of each with the residual.
RINGWALL_WIDE void add_products(const Offsets& at, std::size_t whole, std::size_t unknowns, Products& sums) {
    alignas(sizeof(Lanes)) Offsets::Column weighted;
    for (std::size_t j = 0; j < unknowns; ++j) {
        for (std::size_t i = 0; i < whole; ++i)
            weighted[i] = at.weight[i] * at.by[j][i];
        for (std::size_t k = j; k <= most_unknowns; ++k) {
            if (k >= unknowns && k < most_unknowns) continue;
            Lanes sum{};
            for (std::size_t i = 0; i < whole; i += lanes) {
                Lanes a, b;
                std::memcpy(&a, &weighted[i], sizeof a);
                std::memcpy(&b, &at.by[k][i], sizeof b);
                sum += a * b;
            }
            sums[j][k] += (sum[0] + sum[1]) + (sum[2] + sum[3]);
        }
    }
}

/// One weighted Gauss-Newton step over centre and radius, with 5 unknowns also a2 and b2.
template<int unknowns>
Oval step(const RimPoints& points, const Oval& oval, double width) {
    Offsets at;
    Products sums{};
    for (std::size_t first = 0; first < points.size(); first += most_points) {
        const std::size_t count = std::min(most_points, points.size() - first);
        offsets_of(&points[first], count, oval, width, at);
        const std::size_t whole = (count + lanes - 1) / lanes * lanes;
        for (std::size_t i = count; i < whole; ++i) {
            at.weight[i] = 0;
            for (auto& column : at.by)
                column[i] = 0;
        }
        add_products(at, whole, unknowns, sums);
    }
    Eigen::Matrix<double, unknowns, unknowns> normal;
    Eigen::Matrix<double, unknowns, 1> right;
    for (int j = 0; j < unknowns; ++j) {
        const auto& row = sums[static_cast<std::size_t>(j)];
        right[j] = row[most_unknowns];
        for (int k = j; k < unknowns; ++k)
            normal(j, k) = normal(k, j) = row[static_cast<std::size_t>(k)] + (j == k ? 1e-9 : 0.0);
    }
    const Eigen::Matrix<double, unknowns, 1> change = normal.ldlt().solve(right);
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
