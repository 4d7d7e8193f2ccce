// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <cmath>
#include <optional>
#include <vector>

namespace ringwall::holes {

using RimPoints = std::vector<Point>; ///< in order round the turn

/// A circle, or a circle with a second harmonic: r(a) = radius + a2 cos 2a + b2 sin 2a, a anticlockwise on
/// screen.
struct Oval {
    Point centre;
    double radius = 0;
    double a2 = 0;
    double b2 = 0;
    /// Signed distance of a point from the outline along the ray from the centre, > 0 outside.
    [[nodiscard]] double outside(Point p) const {
        const double dx = p.x - centre.x, dy = centre.y - p.y, r2 = dx * dx + dy * dy, r = std::sqrt(r2);
        if (r2 < 1e-18) return r - radius - a2;
        return r - radius - (a2 * (dx * dx - dy * dy) + b2 * 2 * dx * dy) / r2; // cos 2a, sin 2a
    }
    /// Distance from `origin` (inside) to the outline in a direction of length 1 (y down).
    [[nodiscard]] double reach_from(Point origin, Point direction) const;
    [[nodiscard]] double reach_from(Point origin, double angle) const {
        return reach_from(origin, Point{std::cos(angle), -std::sin(angle)});
    }
};

/// The circle that most points lie on within `tolerance`, from triples of points spread over many parts of
/// the turn, then refined by least squares on those points (Tukey weights); a second harmonic of at most a
/// fifth of the radius is added where it brings clearly more points onto the outline. Deterministic. Nothing
/// with fewer than 12 points.
std::optional<Oval> vote_circle(const RimPoints& points, double tolerance);

} // namespace ringwall::holes
