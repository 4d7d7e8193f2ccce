// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/random.hpp"

#include "ringwall/phantom.hpp"

#include <vector>

namespace ringwall::phantom {

/// A hole placed on a board in the making.
struct PlacedHole {
    Point centre_mm;
    double drill_radius_mm;
    bool plated;
    bool via;
    double land_radius_mm; ///< 0: no land
    double kept_clear_mm;  ///< radius that other holes and traces keep off
    std::size_t drill;     ///< place in Board::drills
};

/// Puts a random board together step by step; each step keeps off what lies there already.
class BoardMaker {
  public:
    explicit BoardMaker(const RandomBoard& choice);
    Board make();

  private:
    // random_board.cpp: the plain board
    void make_outline();
    void make_layers();
    void place_hardware();
    void place_via_field();
    void place_vias();
    void place_hole(Point centre, double drill_mm, bool plated, bool via, double kept_clear_mm);
    void finish_layers();
    bool find_place(double radius_mm, double from_edge_mm, Point& place);
    [[nodiscard]] bool is_free(Point p, double radius_mm) const;
    [[nodiscard]] bool is_plane(std::size_t layer) const { return is_plane_[layer]; }
    [[nodiscard]] bool is_outer(std::size_t layer) const {
        return layer == 0 || layer + 1 == board_.layers.size();
    }
    // random_copper.cpp: rings, lands, spokes, traces, text
    void ring_bare_hole(const PlacedHole& hole);
    void ring_plated_hole(PlacedHole& hole);
    void ring_via(const PlacedHole& hole);
    void add_spokes(const PlacedHole& hole, std::size_t layer, double outer_mm);
    void add_land(std::size_t layer, Point centre, double radius_mm);
    void clear(std::size_t layer, Point centre, double radius_mm);
    void lay_traces();
    void lay_trace_past(const PlacedHole& hole);
    void lay_trace(std::size_t layer, Point from, Point to, double width_mm);
    void write_text();
    [[nodiscard]] bool track_is_free(Point from, Point to, double width_mm, const PlacedHole* except1,
                                     const PlacedHole* except2) const;
    // random_wear.cpp: worn holes, parts in front, slots, pins
    void wear_holes();
    void wear_bare(const PlacedHole& hole);
    [[nodiscard]] bool can_be_decided(const PlacedHole& hole, double angle_deg, double radius_mm) const;
    void wear_plated(const PlacedHole& hole);
    void place_parts();
    void place_lead(Point p);

    RandomBoard choice_;
    Random random_;
    Board board_;
    double edge_mm_ = 0; ///< of the board, from the picture's edge; below 0: outside
    std::vector<char> is_plane_;
    std::vector<PlacedHole> holes_;
    std::vector<std::vector<Stroke>> clearings_, lands_; ///< by layer, laid down after the pour in this order
    std::vector<Track> traces_;
};

} // namespace ringwall::phantom
