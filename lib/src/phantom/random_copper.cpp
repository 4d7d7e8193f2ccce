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

/// The least true gap that is drawn: between this and touching nothing can be decided, and nobody makes it on
/// purpose.
constexpr double least_gap_mm = 0.08;

} // namespace

void BoardMaker::add_land(std::size_t layer, Point centre, double radius) {
    lands_[layer].push_back({Circle{centre, radius}, true});
}

void BoardMaker::clear(std::size_t layer, Point centre, double radius) {
    clearings_[layer].push_back({Circle{centre, radius}, false});
}

/// Rings of every sort: wide, narrow, off-centre, off-centre until the copper touches, none at all.
void BoardMaker::ring_bare_hole(const PlacedHole& hole) {
    const double sort = random_.uniform(), towards_deg = random_.between(0, 360);
    double gap = random_.between(0.5, hole.kept_clear_mm - hole.drill_radius_mm - 0.05),
           off = random_.between(0, 0.25);
    if (sort < 0.45) gap = random_.between(0.2, 0.45), off = random_.between(0, gap - least_gap_mm);
    if (sort < 0.15) off = gap + random_.between(0.06, 0.15);
    const bool layers_differ = random_.chance(0.3);
    bool first = true; // it keeps the gap that was chosen
    for (std::size_t n = 0; n < board_.layers.size(); ++n) {
        if (!is_plane(n)) continue;
        const double wider = layers_differ && !first ? random_.between(0, 0.5) : 0;
        first = false;
        clear(n, along(hole.centre_mm, towards_deg, off), hole.drill_radius_mm + gap + wider);
    }
}

/// Lands outside, rings or spokes on the planes; one in three is joined to a plane.
void BoardMaker::ring_plated_hole(PlacedHole& hole) {
    const double room = hole.kept_clear_mm - hole.drill_radius_mm;
    hole.land_radius_mm = hole.drill_radius_mm + random_.between(0.3, 0.6) * room;
    const double ring = random_.between(hole.land_radius_mm + 0.2, hole.kept_clear_mm);
    const double off = random_.between(0, ring - hole.land_radius_mm - 0.15),
                 towards_deg = random_.between(0, 360);
    const bool joined = random_.chance(0.33);
    bool joined_already = false;
    for (std::size_t n = 0; n < board_.layers.size(); ++n) {
        const bool land = is_outer(n) || random_.chance(0.5);
        if (land) add_land(n, hole.centre_mm, hole.land_radius_mm);
        if (!is_plane(n)) continue;
        const bool join_here = joined && !joined_already;
        if (join_here) {
            joined_already = true;
            if (random_.chance(0.3)) continue; // straight into the plane
            clear(n, hole.centre_mm, ring);
            add_land(n, hole.centre_mm, hole.land_radius_mm);
            add_spokes(hole, n, ring);
        } else {
            clear(n, along(hole.centre_mm, towards_deg, off), ring);
        }
    }
}

void BoardMaker::add_spokes(const PlacedHole& hole, std::size_t layer, double outer) {
    const double first_deg = random_.chance(0.5) ? 45 : 0, width = random_.between(0.3, 0.5);
    for (int i = 0; i < 4; ++i)
        lands_[layer].push_back({Track{along(hole.centre_mm, first_deg + 90 * i, hole.drill_radius_mm + 0.2),
                                       along(hole.centre_mm, first_deg + 90 * i, outer + 0.2), width},
                                 true});
}

void BoardMaker::ring_via(const PlacedHole& hole) {
    const double land = hole.drill_radius_mm + random_.between(0.12, 0.16), ring = hole.kept_clear_mm - 0.02;
    const bool joined = random_.chance(0.3);
    for (std::size_t n = 0; n < board_.layers.size(); ++n) {
        if (is_plane(n) && joined && n == board_.layers.size() / 2) continue;
        if (is_plane(n)) clear(n, hole.centre_mm, ring);
        if (is_outer(n) || !is_plane(n)) add_land(n, hole.centre_mm, land);
    }
}

bool BoardMaker::track_is_free(Point from, Point to, double width, const PlacedHole* except1,
                               const PlacedHole* except2) const {
    const Figure track = Track{from, to, width};
    return std::all_of(holes_.begin(), holes_.end(), [&](const PlacedHole& h) {
        if (&h == except1 || &h == except2) return true;
        const double copper = std::max(h.land_radius_mm, h.drill_radius_mm + (h.via ? 0.16 : 0.0));
        return signed_distance(track, h.centre_mm) >= copper + 0.18;
    });
}

void BoardMaker::lay_trace(std::size_t layer, Point from, Point to, double width) {
    lands_[layer].push_back({Track{from, to, width}, true});
    traces_.push_back({from, to, width});
}

/// From via to via in a straight part and a slanted one, where both are free; then some past hardware holes.
void BoardMaker::lay_traces() {
    for (const PlacedHole& a : holes_) {
        if (!a.via) continue;
        const PlacedHole& b =
            holes_[static_cast<std::size_t>(random_.whole(0, static_cast<int>(holes_.size()) - 1))];
        if (!b.via || &a == &b) continue;
        const double dx = b.centre_mm.x - a.centre_mm.x, dy = b.centre_mm.y - a.centre_mm.y;
        const double slant = std::min(std::abs(dx), std::abs(dy));
        const Point bend{a.centre_mm.x + std::copysign(slant, dx), a.centre_mm.y + std::copysign(slant, dy)};
        const double width = random_.between(0.12, 0.25);
        if (!track_is_free(a.centre_mm, bend, width, &a, &b) ||
            !track_is_free(bend, b.centre_mm, width, &a, &b))
            continue;
        const std::size_t layer =
            random_.chance(0.5) || is_plane(board_.layers.size() - 1) ? 0 : board_.layers.size() - 1;
        lay_trace(layer, a.centre_mm, bend, width);
        lay_trace(layer, bend, b.centre_mm, width);
    }
    for (const PlacedHole& hole : holes_)
        if (!hole.via && random_.chance(0.5)) lay_trace_past(hole);
}

/// A trace that runs past a hole, or one that ends near it.
void BoardMaker::lay_trace_past(const PlacedHole& hole) {
    const double width = random_.between(0.15, 0.3), angle = random_.between(0, 360);
    const double start =
        std::max(hole.land_radius_mm, hole.drill_radius_mm) + random_.between(0.2, 0.6) + width / 2;
    const Point nearest = along(hole.centre_mm, angle, start);
    const double half = random_.between(1.5, 3.0);
    const bool passing = random_.chance(0.5);
    const Point from = passing ? along(nearest, angle + 90, half) : nearest;
    const Point to = passing ? along(nearest, angle - 90, half) : along(nearest, angle, half);
    if (track_is_free(from, to, width, &hole, nullptr)) lay_trace(0, from, to, width);
}

/// Rows of short strokes of the size of lettering, where nothing else is.
void BoardMaker::write_text() {
    for (int word = 0; word < 3; ++word) {
        Point p;
        if (!find_place(1.0, 2.5, p)) continue;
        for (int letter = 0; letter < random_.whole(3, 7); ++letter)
            for (int stroke = 0; stroke < 3; ++stroke) {
                const Point from{p.x + 0.9 * letter + 0.35 * random_.whole(0, 1),
                                 p.y + 0.6 * random_.whole(0, 2)};
                const Point to{p.x + 0.9 * letter + 0.35 * random_.whole(0, 1),
                               p.y + 0.6 * random_.whole(0, 2)};
                if (track_is_free(from, to, 0.15, nullptr, nullptr)) lay_trace(0, from, to, 0.15);
            }
    }
}

} // namespace ringwall::phantom
