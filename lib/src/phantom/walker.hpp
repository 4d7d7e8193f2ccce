// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/scene.hpp"

#include <vector>

namespace ringwall::phantom {

/// Square cells over the board: cell (x, y) covers the square of side `cell_mm` whose centre is
/// origin_mm + (x, y) * cell_mm.
struct CellGrid {
    Point origin_mm;
    double cell_mm;
};

/// Splits a region of a grid into squares that one stack fills and single cells that an edge may cross.
///
/// A square is split as long as a figure's boundary comes near it, so that work grows with the length of the
/// edges and not with the area. Steps without effect on a square are dropped on the way down.
class Walker {
  public:
    /// A step still in play in a square. `open`: the figure's boundary may cross the square; else it covers
    /// it all.
    struct Live {
        int step;
        bool open;
    };
    using List = std::vector<Live>;

    Walker(Scene& scene, CellGrid grid);

    /// Squares of a tile of `size` cells a side (a power of two). `sink.filled(x, y, size, stack)`,
    /// `sink.edge(x, y, list)` for single cells; the list is valid during the call.
    template<typename Sink>
    void walk(int x, int y, int size, Sink& sink) {
        all_.clear();
        for (int i = 0; i < static_cast<int>(scene_.steps().size()); ++i)
            all_.push_back({i, true});
        descend(x, y, size, all_, 0, sink);
    }
    /// The same, starting from a list that is known to hold all steps that matter there.
    template<typename Sink>
    void walk(int x, int y, int size, const List& among, Sink& sink) {
        descend(x, y, size, among, 0, sink);
    }
    /// The steps that matter in a square; only the ones whose boxes meet it are looked at.
    void narrow(Point centre_mm, double half_side_mm, const List& among, List& kept);
    /// The one figure with a boundary in play: its number; -1: none; -2: several.
    [[nodiscard]] int open_figure(const List& list) const;
    /// The stack when the open figures cover a point (or not), all of a kind.
    Stack stack(const List& list, bool open_ones_cover);
    /// The stack at a point, the open figures asked one by one.
    Stack stack_at(const List& list, Point p);
    [[nodiscard]] Point centre_mm(int x, int y, int size) const {
        const double half = (size - 1) / 2.0;
        return {grid_.origin_mm.x + (x + half) * grid_.cell_mm,
                grid_.origin_mm.y + (y + half) * grid_.cell_mm};
    }
    [[nodiscard]] const CellGrid& grid() const { return grid_; }
    [[nodiscard]] Scene& scene() { return scene_; }
    /// A list to work in at a depth of recursion.
    List& scratch(int depth) { return scratch_[static_cast<std::size_t>(depth)]; }

  private:
    template<typename Sink>
    void descend(int x, int y, int size, const List& among, int depth, Sink& sink) {
        List& list = scratch(depth);
        narrow(centre_mm(x, y, size), size * grid_.cell_mm / 2, among, list);
        if (open_figure(list) == -1) {
            sink.filled(x, y, size, stack(list, false));
        } else if (size == 1) {
            sink.edge(x, y, list);
        } else {
            const int half = size / 2;
            for (int quarter = 0; quarter < 4; ++quarter)
                descend(x + (quarter & 1) * half, y + (quarter >> 1) * half, half, list, depth + 1, sink);
        }
    }
    double distance(int figure, Point p);

    Scene& scene_;
    CellGrid grid_;
    List all_;
    std::vector<List> scratch_;
    std::vector<double> distances_;      ///< of each figure to the present point
    std::vector<unsigned> distance_age_; ///< which point that was
    unsigned age_ = 0;
};

} // namespace ringwall::phantom
