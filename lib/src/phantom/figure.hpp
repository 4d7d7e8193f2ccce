// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/phantom.hpp"

#include <variant>
#include <vector>

namespace ringwall::phantom {

/// A disk whose radius swings with the angle, r = radius + swing cos 2(angle - axis), or the part of it
/// between two angles (anticlockwise as seen; to - from >= 360: the whole disk). swing well below radius.
struct SwungDisk {
    Point centre_mm;
    double radius_mm;
    double swing_mm;
    double axis_deg;
    double from_deg;
    double to_deg;
};
using Figure = std::variant<Circle, Ring, Polygon, Track, SwungDisk>;

Figure figure_of(const Shape& shape);

Polygon rectangle(double left, double top, double right, double bottom);
/// Corners rounded in eight steps.
Polygon rounded_rectangle(double left, double top, double right, double bottom, double radius);

struct Box {
    double left, top, right, bottom;
    [[nodiscard]] bool meets(const Box& o) const {
        return left <= o.right && o.left <= right && top <= o.bottom && o.top <= bottom;
    }
};

/// Unit vector of a direction: degrees, anticlockwise as seen (y points down).
Point direction(double angle_deg);
/// A point moved along a unit vector.
Point ahead(Point from, Point unit, double by);
/// Of the vector to a point, in [0, 360).
double angle_deg_of(double dx, double dy);
/// Whether an angle lies in the arc from..to, anticlockwise.
bool in_arc(double angle_deg, double from_deg, double to_deg);

/// mm to the figure's boundary, negative inside. Never larger in size than the true distance, so that no
/// boundary lies within |distance| of the point; exact for Circle, Ring, Polygon and Track.
double signed_distance(const Figure& figure, Point p);
/// signed_distance < 0, without measuring where that is dearer.
bool covers(const Figure& figure, Point p);
Box box_of(const Figure& figure);

/// Appends every distance 0 < s < reach_mm at which the ray crosses the boundary; may append others too.
void append_crossings(const Figure& figure, Point origin, Point unit, double reach_mm,
                      std::vector<double>& out);

} // namespace ringwall::phantom
