// SPDX-License-Identifier: Apache-2.0
#include "phantom/figure.hpp"
#include "phantom/random_board.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::phantom {
namespace {

Point along(Point from, double angle_deg, double by) {
    return ahead(from, direction(angle_deg), by);
}

Polygon rectangle_along(Point from, double angle_deg, double length, double width) {
    const Point a = along(from, angle_deg + 90, width / 2), b = along(from, angle_deg - 90, width / 2);
    return {{a, b, along(b, angle_deg, length), along(a, angle_deg, length)}};
}

} // namespace

/// Two holes in three are worn.
void BoardMaker::wear_holes() {
    for (const PlacedHole& hole : holes_) {
        const Drill& drill = board_.drills[hole.drill];
        if (hole.via || drill.is_slot || drill.filled_mm > 0 || random_.chance(0.33)) continue;
        if (hole.plated)
            wear_plated(hole);
        else
            wear_bare(hole);
    }
}

/// Whether a bite stays well off all copper, or goes well into it.
bool BoardMaker::can_be_decided(const PlacedHole& hole, double angle_deg, double radius) const {
    const Point middle = along(hole.centre_mm, angle_deg, hole.drill_radius_mm);
    double gap = 1;
    for (const std::vector<Stroke>& clearings : clearings_)
        for (const Stroke& stroke : clearings) {
            const Circle& opening = std::get<Circle>(stroke.shape);
            const bool its_own = signed_distance(opening, hole.centre_mm) < -hole.drill_radius_mm / 2;
            if (its_own) gap = std::min(gap, -signed_distance(opening, middle) - radius);
        }
    for (const Track& track : traces_)
        gap = std::min(gap, signed_distance(track, middle) - radius);
    return gap > 0.08 || gap < -0.06;
}

/// One to three bites, 0.10 to 0.35 mm deep, or a hole worn oval.
void BoardMaker::wear_bare(const PlacedHole& hole) {
    Drill& drill = board_.drills[hole.drill];
    if (random_.chance(0.2)) {
        const double swing = random_.between(0.05, 0.15), axis = random_.between(0, 180);
        if (!can_be_decided(hole, axis, swing) || !can_be_decided(hole, axis + 180, swing)) return;
        drill.oval_mm = swing;
        drill.oval_axis_deg = axis;
        return;
    }
    const int bites = random_.whole(1, 3);
    const double first_deg = random_.between(0, 360);
    for (int i = 0; i < bites; ++i) {
        const double angle = std::fmod(first_deg + i * 120 + random_.between(-25, 25) + 360, 360.0);
        const double radius = random_.between(0.10, 0.35);
        if (can_be_decided(hole, angle, radius)) drill.bites.push_back({angle, radius});
    }
}

/// An arc of the barrel missing; sometimes a bite with it.
void BoardMaker::wear_plated(const PlacedHole& hole) {
    Drill& drill = board_.drills[hole.drill];
    const double from = random_.between(0, 360), width = random_.between(30, 150);
    drill.missing_arcs_deg.emplace_back(from, from + width);
    if (random_.chance(0.3))
        drill.bites.push_back({std::fmod(from + width / 2, 360.0), random_.between(0.10, 0.25)});
}

void BoardMaker::place_lead(Point p) {
    const double angle = 90 * random_.whole(0, 3);
    for (int lead = 0; lead < random_.whole(3, 8); ++lead)
        board_.parts.push_back(
            {rectangle_along(along(p, angle + 90, 0.8 * lead), angle, 1.2, 0.35), tin(), 0.12});
}

/// Rows of tinned leads, contacts laid across, and blobs of solder over the rim of every third hardware hole.
void BoardMaker::place_parts() {
    for (int row = 0; row < 4; ++row) {
        Point p;
        if (find_place(1.0, 1.5, p)) place_lead(p);
    }
    int count = 0;
    for (const PlacedHole& hole : holes_) {
        if (hole.via || ++count % 3 != 0) continue;
        const double angle = random_.between(0, 360);
        const double radius = random_.between(0.5, 1.0);
        if (random_.chance(0.5))
            board_.parts.push_back(
                {Circle{along(hole.centre_mm, angle, hole.drill_radius_mm + 0.3), radius}, tin(), 0.6});
        else
            board_.parts.push_back(
                {rectangle_along(along(hole.centre_mm, angle, hole.drill_radius_mm - 0.3), angle, 4, 0.8),
                 copper(), 0.4});
    }
}

} // namespace ringwall::phantom
