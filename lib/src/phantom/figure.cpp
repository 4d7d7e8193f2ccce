// SPDX-License-Identifier: Apache-2.0
#include "phantom/figure.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace ringwall::phantom {
namespace {

constexpr double radians = std::numbers::pi / 180;

double length(Point p) {
    return std::sqrt(p.x * p.x + p.y * p.y);
}
Point minus(Point a, Point b) {
    return {a.x - b.x, a.y - b.y};
}
double dot(Point a, Point b) {
    return a.x * b.x + a.y * b.y;
}
double cross(Point a, Point b) {
    return a.x * b.y - a.y * b.x;
}

double square_to_segment(Point p, Point a, Point b) {
    const Point ab = minus(b, a), ap = minus(p, a);
    const double square = dot(ab, ab);
    const double t = square > 0 ? std::clamp(dot(ap, ab) / square, 0.0, 1.0) : 0.0;
    const Point off{ap.x - t * ab.x, ap.y - t * ab.y};
    return dot(off, off);
}

double distance(const Circle& c, Point p) {
    return length(minus(p, c.centre_mm)) - c.radius_mm;
}

double distance(const Ring& r, Point p) {
    const double from_centre = length(minus(p, r.centre_mm));
    return std::max(from_centre - r.outer_mm, r.inner_mm - from_centre);
}

double distance(const Track& t, Point p) {
    return std::sqrt(square_to_segment(p, t.from_mm, t.to_mm)) - t.width_mm / 2;
}

/// Even-odd rule along the row to the right.
bool covers_point(const Polygon& polygon, Point p) {
    const auto& c = polygon.corners_mm;
    bool inside = false;
    for (std::size_t i = 0, j = c.size() - 1; i < c.size(); j = i++) {
        const bool straddles = (c[i].y > p.y) != (c[j].y > p.y);
        if (straddles && p.x < (c[j].x - c[i].x) * (p.y - c[i].y) / (c[j].y - c[i].y) + c[i].x)
            inside = !inside;
    }
    return inside;
}

double distance(const Polygon& polygon, Point p) {
    const auto& c = polygon.corners_mm;
    double nearest = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0, j = c.size() - 1; i < c.size(); j = i++)
        nearest = std::min(nearest, square_to_segment(p, c[j], c[i]));
    return covers_point(polygon, p) ? -std::sqrt(nearest) : std::sqrt(nearest);
}

/// Distance to the wedge between two half-lines from the origin, at most 180 degrees wide.
double narrow_wedge_distance(Point p, double from_deg, double to_deg) {
    const Point from = direction(from_deg), to = direction(to_deg);
    // Anticlockwise as seen is clockwise in y-down coordinates: inside is where cross(from, p) <= 0 and
    // cross(to, p) >= 0.
    return std::max(cross(from, p), -cross(to, p));
}

double wedge_distance(Point p, double from_deg, double to_deg) {
    const double width = to_deg - from_deg;
    return width <= 180 ? narrow_wedge_distance(p, from_deg, to_deg)
                        : -narrow_wedge_distance(p, to_deg, from_deg + 360);
}

double distance(const SwungDisk& d, Point p) {
    const Point q = minus(p, d.centre_mm);
    const double from_centre = length(q);
    double disk = from_centre - d.radius_mm;
    if (d.swing_mm > 0) {
        const double most = d.radius_mm + d.swing_mm, least = d.radius_mm - d.swing_mm;
        if (from_centre < least / 2) {
            disk = from_centre - least;
        } else {
            const double angle = std::atan2(-q.y, q.x);
            const double here = d.radius_mm + d.swing_mm * std::cos(2 * (angle - d.axis_deg * radians));
            // The radial offset overstates the distance by at most sqrt(1 + (2 swing / r)^2), r >= least / 2
            // here.
            const double steepest = 2 * d.swing_mm / std::max(least / 2, std::min(from_centre, most));
            disk = (from_centre - here) / std::sqrt(1 + steepest * steepest);
        }
    }
    if (d.to_deg - d.from_deg >= 360) return disk;
    return std::max(disk, wedge_distance(q, d.from_deg, d.to_deg));
}

Box around(Point c, double r) {
    return {c.x - r, c.y - r, c.x + r, c.y + r};
}
Box box(const Circle& c) {
    return around(c.centre_mm, c.radius_mm);
}
Box box(const Ring& r) {
    return around(r.centre_mm, r.outer_mm);
}
Box box(const SwungDisk& d) {
    return around(d.centre_mm, d.radius_mm + d.swing_mm);
}
Box box(const Track& t) {
    const double r = t.width_mm / 2;
    return {std::min(t.from_mm.x, t.to_mm.x) - r, std::min(t.from_mm.y, t.to_mm.y) - r,
            std::max(t.from_mm.x, t.to_mm.x) + r, std::max(t.from_mm.y, t.to_mm.y) + r};
}
Box box(const Polygon& polygon) {
    const double infinity = std::numeric_limits<double>::infinity();
    Box b{infinity, infinity, -infinity, -infinity};
    for (const Point& p : polygon.corners_mm)
        b = {std::min(b.left, p.x), std::min(b.top, p.y), std::max(b.right, p.x), std::max(b.bottom, p.y)};
    return b;
}

void cross_circle(Point centre, double radius, Point origin, Point unit, std::vector<double>& out) {
    const Point q = minus(origin, centre);
    const double half_b = dot(q, unit);
    const double discriminant = half_b * half_b - dot(q, q) + radius * radius;
    if (discriminant < 0) return;
    const double root = std::sqrt(discriminant);
    out.push_back(-half_b - root);
    out.push_back(-half_b + root);
}

void cross_line(Point through, Point along, Point origin, Point unit, std::vector<double>& out) {
    const double denominator = cross(unit, along);
    if (denominator != 0) out.push_back(cross(minus(through, origin), along) / denominator);
}

void crossings(const Circle& c, Point origin, Point unit, double, std::vector<double>& out) {
    cross_circle(c.centre_mm, c.radius_mm, origin, unit, out);
}

void crossings(const Ring& r, Point origin, Point unit, double, std::vector<double>& out) {
    cross_circle(r.centre_mm, r.inner_mm, origin, unit, out);
    cross_circle(r.centre_mm, r.outer_mm, origin, unit, out);
}

void crossings(const Track& t, Point origin, Point unit, double, std::vector<double>& out) {
    const double r = t.width_mm / 2;
    cross_circle(t.from_mm, r, origin, unit, out);
    cross_circle(t.to_mm, r, origin, unit, out);
    const Point along = minus(t.to_mm, t.from_mm);
    const double l = length(along);
    if (l == 0) return;
    const Point side{-along.y / l * r, along.x / l * r};
    cross_line({t.from_mm.x + side.x, t.from_mm.y + side.y}, along, origin, unit, out);
    cross_line({t.from_mm.x - side.x, t.from_mm.y - side.y}, along, origin, unit, out);
}

void crossings(const Polygon& polygon, Point origin, Point unit, double, std::vector<double>& out) {
    const auto& c = polygon.corners_mm;
    for (std::size_t i = 0, j = c.size() - 1; i < c.size(); j = i++) {
        const double before = cross(unit, minus(c[j], origin)), after = cross(unit, minus(c[i], origin));
        if ((before > 0) != (after > 0)) cross_line(c[j], minus(c[i], c[j]), origin, unit, out);
    }
}

/// Walks along the ray by safe steps and halves the step in which the sign changes: 1e-9 mm.
void crossings(const SwungDisk& d, Point origin, Point unit, double reach_mm, std::vector<double>& out) {
    const auto at = [&](double s) { return distance(d, {origin.x + s * unit.x, origin.y + s * unit.y}); };
    if (std::abs(at(0)) > reach_mm) return;
    double s = 0, here = at(0);
    while (s < reach_mm) {
        double next = s + std::max(std::abs(here), 1e-4);
        const double there = at(next);
        if ((there < 0) != (here < 0)) {
            double low = s, high = next;
            while (high - low > 1e-9) {
                const double middle = (low + high) / 2;
                ((at(middle) < 0) == (here < 0) ? low : high) = middle;
            }
            out.push_back((low + high) / 2);
        }
        s = next;
        here = there;
    }
}

} // namespace

Point ahead(Point from, Point unit, double by) {
    return {from.x + by * unit.x, from.y + by * unit.y};
}

Polygon rectangle(double left, double top, double right, double bottom) {
    return {{{left, top}, {right, top}, {right, bottom}, {left, bottom}}};
}

Polygon rounded_rectangle(double left, double top, double right, double bottom, double radius) {
    Polygon polygon;
    const Point corners[] = {{right - radius, top + radius},
                             {left + radius, top + radius},
                             {left + radius, bottom - radius},
                             {right - radius, bottom - radius}};
    for (int corner = 0; corner < 4; ++corner)
        for (int i = 0; i <= 8; ++i)
            polygon.corners_mm.push_back(
                ahead(corners[corner], direction(90 * corner + 90 * i / 8.0), radius));
    return polygon;
}

Figure figure_of(const Shape& shape) {
    return std::visit([](const auto& s) -> Figure { return s; }, shape);
}

Point direction(double angle_deg) {
    return {std::cos(angle_deg * radians), -std::sin(angle_deg * radians)};
}

double angle_deg_of(double dx, double dy) {
    const double angle = std::atan2(-dy, dx) / radians;
    if (angle < 0) return angle + 360;
    return angle + 0.0; // no -0
}

bool in_arc(double angle_deg, double from_deg, double to_deg) {
    double turn = std::fmod(angle_deg - from_deg, 360.0);
    if (turn < 0) turn += 360;
    return turn <= to_deg - from_deg;
}

double signed_distance(const Figure& figure, Point p) {
    return std::visit([&](const auto& f) { return distance(f, p); }, figure);
}

bool covers(const Figure& figure, Point p) {
    if (const auto* polygon = std::get_if<Polygon>(&figure)) return covers_point(*polygon, p);
    return signed_distance(figure, p) < 0;
}

Box box_of(const Figure& figure) {
    return std::visit([](const auto& f) { return box(f); }, figure);
}

void append_crossings(const Figure& figure, Point origin, Point unit, double reach_mm,
                      std::vector<double>& out) {
    std::visit([&](const auto& f) { crossings(f, origin, unit, reach_mm, out); }, figure);
}

} // namespace ringwall::phantom
