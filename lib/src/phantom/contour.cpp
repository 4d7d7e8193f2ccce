// SPDX-License-Identifier: Apache-2.0
#include "phantom/contour.hpp"

#include <cassert>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

Point ahead(Point from, Point unit, double by) {
    return {from.x + by * unit.x, from.y + by * unit.y};
}

ContourPlace place(const Circle& c, double turn) {
    const Point unit = direction(360 * turn);
    return {ahead(c.centre_mm, unit, c.radius_mm), unit};
}

/// Straight side, round end, straight side, round end, at even speed.
ContourPlace place(const Track& t, double turn) {
    const double r = t.width_mm / 2;
    const Point along{t.to_mm.x - t.from_mm.x, t.to_mm.y - t.from_mm.y};
    const double length = std::sqrt(along.x * along.x + along.y * along.y);
    if (length == 0) return place(Circle{t.from_mm, r}, turn);
    const double heading = angle_deg_of(along.x, along.y);
    const double round = std::numbers::pi * r;
    double s = turn * 2 * (length + round);
    const bool back = s >= length + round;
    if (back) s -= length + round;
    const Point start = back ? t.to_mm : t.from_mm;
    const Point unit = direction(back ? heading + 180 : heading);
    const double side =
        (back ? heading + 180 : heading) - 90; // the side that is walked along with the void on the left
    if (s < length) {
        const Point outward = direction(side);
        return {ahead(ahead(start, unit, s), outward, r), outward};
    }
    const Point outward = direction(side + 180 * (s - length) / round);
    return {ahead(back ? t.from_mm : t.to_mm, outward, r), outward};
}

ContourPlace place(const SwungDisk& d, double turn) {
    const double angle = 360 * turn, phase = 2 * (angle - d.axis_deg) * std::numbers::pi / 180;
    const double r = d.radius_mm + d.swing_mm * std::cos(phase), slope = -2 * d.swing_mm * std::sin(phase);
    const Point unit = direction(angle), ahead_of = direction(angle + 90);
    const double size = std::sqrt(r * r + slope * slope);
    return {ahead(d.centre_mm, unit, r),
            {(r * unit.x - slope * ahead_of.x) / size, (r * unit.y - slope * ahead_of.y) / size}};
}

ContourPlace place(const Ring&, double) {
    assert(false);
    return {};
}
ContourPlace place(const Polygon&, double) {
    assert(false);
    return {};
}

} // namespace

ContourPlace contour_place(const Figure& figure, double turn) {
    return std::visit([&](const auto& f) { return place(f, turn); }, figure);
}

} // namespace ringwall::phantom
