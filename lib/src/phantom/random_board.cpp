// SPDX-License-Identifier: Apache-2.0
#include "phantom/random_board.hpp"

#include "phantom/figure.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::phantom {
namespace {

double distance(Point a, Point b) {
    return std::hypot(a.x - b.x, a.y - b.y);
}

} // namespace

BoardMaker::BoardMaker(const RandomBoard& choice) : choice_(choice), random_(choice.seed, 0x626f617264) {
    board_.name = "random " + std::to_string(choice.seed);
    board_.width_mm = choice.width_mm;
    board_.height_mm = choice.height_mm;
}

Board BoardMaker::make() {
    make_outline();
    make_layers();
    place_hardware();
    place_via_field();
    place_vias();
    if (choice_.traces) {
        lay_traces();
        write_text();
    }
    if (choice_.worn) wear_holes();
    if (choice_.parts) place_parts();
    finish_layers();
    return std::move(board_);
}

void BoardMaker::make_outline() {
    board_.thickness_mm = random_.chance(0.8) ? 1.6 : random_.between(1.0, 2.0);
    if (random_.chance(0.4)) board_.laminate = brominated_glass_epoxy();
    edge_mm_ = -5;
    if (!choice_.whole_board_in_view) return;
    edge_mm_ = random_.between(1.0, 2.0);
    board_.outline = rounded_rectangle(edge_mm_, edge_mm_, board_.width_mm - edge_mm_,
                                       board_.height_mm - edge_mm_, random_.between(0.5, 2.5));
}

void BoardMaker::make_layers() {
    const int pairs = random_.whole(1, 3);
    board_.layers.resize(static_cast<std::size_t>(2 * pairs));
    is_plane_.resize(board_.layers.size());
    clearings_.resize(board_.layers.size());
    lands_.resize(board_.layers.size());
    for (std::size_t n = 0; n < board_.layers.size(); ++n) {
        board_.layers[n].thickness_um = is_outer(n) ? random_.between(35, 45) : random_.between(28, 35);
        is_plane_[n] = is_outer(n) ? n != 0 && pairs == 1 : n % 2 == 1 || random_.chance(0.5);
    }
}

void BoardMaker::finish_layers() {
    const double inset = edge_mm_ + 0.4;
    for (std::size_t n = 0; n < board_.layers.size(); ++n) {
        CopperLayer& layer = board_.layers[n];
        if (is_plane(n) && !choice_.whole_board_in_view) layer.poured = true;
        if (is_plane(n) && choice_.whole_board_in_view)
            layer.strokes.push_back(
                {rounded_rectangle(inset, inset, board_.width_mm - inset, board_.height_mm - inset, 1.0)});
        layer.strokes.insert(layer.strokes.end(), clearings_[n].begin(), clearings_[n].end());
        layer.strokes.insert(layer.strokes.end(), lands_[n].begin(), lands_[n].end());
    }
}

bool BoardMaker::is_free(Point p, double radius) const {
    return std::all_of(holes_.begin(), holes_.end(), [&](const PlacedHole& h) {
        return distance(h.centre_mm, p) >= h.kept_clear_mm + radius;
    });
}

bool BoardMaker::find_place(double radius, double from_edge, Point& place) {
    const double margin = std::max(0.5, edge_mm_) + from_edge;
    for (int attempt = 0; attempt < 300; ++attempt) {
        place = {random_.between(margin, board_.width_mm - margin),
                 random_.between(margin, board_.height_mm - margin)};
        if (is_free(place, radius)) return true;
    }
    return false;
}

void BoardMaker::place_hole(Point centre, double drill_mm, bool plated, bool via, double kept_clear) {
    Drill drill;
    drill.centre_mm = centre;
    drill.drill_mm = drill_mm;
    drill.plating_um = plated ? random_.between(via ? 18 : 20, via ? 26 : 35) : 0;
    board_.drills.push_back(drill);
    holes_.push_back({centre, drill_mm / 2, plated, via, 0, kept_clear, board_.drills.size() - 1});
}

/// Every other hole is plated, so that no board lacks either kind; one in four sits near the board's edge.
void BoardMaker::place_hardware() {
    for (int i = 0; i < choice_.hardware_holes; ++i) {
        const double drill_mm = random_.between(2.5, 4.5);
        const double kept_clear = drill_mm / 2 + random_.between(1.0, 1.6);
        const bool near_edge = random_.chance(0.25);
        const double from_edge = near_edge ? drill_mm / 2 + random_.between(0.5, 1.0) : kept_clear;
        Point place;
        if (!find_place(kept_clear, from_edge, place)) continue;
        place_hole(place, drill_mm, i % 2 == 1, false, kept_clear);
        Drill& drill = board_.drills.back();
        if (i < choice_.filled)
            drill.filled_mm = drill_mm - 2 * drill.plating_um / 1000 - random_.between(0.05, 0.4);
        else if (i < choice_.filled + choice_.slots) {
            drill.is_slot = true;
            drill.drill_mm = random_.between(0.9, 1.6);
            const double half = random_.between(0.5, 0.9) * drill_mm / 2;
            const Point unit = direction(random_.between(0, 180));
            drill.slot_to_mm = {place.x + half * unit.x, place.y + half * unit.y};
            drill.centre_mm = {place.x - half * unit.x, place.y - half * unit.y};
            holes_.back().drill_radius_mm = half + drill.drill_mm / 2;
        }
        if (holes_.back().plated)
            ring_plated_hole(holes_.back());
        else
            ring_bare_hole(holes_.back());
    }
}

/// A third of the vias stands in a field at a narrow pitch.
void BoardMaker::place_via_field() {
    const int columns = static_cast<int>(std::sqrt(choice_.vias / 3.0));
    if (columns < 2) return;
    const double pitch = random_.between(0.9, 1.2), drill_mm = random_.between(0.3, 0.4);
    const double half = (columns - 1) * pitch / 2;
    Point middle;
    if (!find_place(half * 1.42 + 0.6, half + 0.8, middle)) return;
    for (int i = 0; i < columns * columns; ++i) {
        const int row = i / columns, column = i % columns;
        place_hole({middle.x - half + pitch * column, middle.y - half + pitch * row}, drill_mm, true, true,
                   drill_mm / 2 + 0.28);
        ring_via(holes_.back());
    }
}

void BoardMaker::place_vias() {
    const auto vias = [&] {
        return std::count_if(holes_.begin(), holes_.end(), [](const auto& h) { return h.via; });
    };
    for (int attempt = 0; attempt < 3 * choice_.vias && vias() < choice_.vias; ++attempt) {
        const double drill_mm = random_.between(0.3, 0.5);
        const double kept_clear = drill_mm / 2 + 0.30;
        Point place;
        if (!find_place(kept_clear, 0.9, place)) continue;
        place_hole(place, drill_mm, true, true, kept_clear);
        ring_via(holes_.back());
    }
}

Board random_board(const RandomBoard& choice) {
    return BoardMaker(choice).make();
}

} // namespace ringwall::phantom
