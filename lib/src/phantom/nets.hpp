// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/walker.hpp"

#include <vector>

namespace ringwall::phantom {

/// Which copper is joined to which on each layer within a picture's field, judged on square cells.
class CopperNets {
  public:
    CopperNets(const Board& board, Scene& scene);
    /// Number of the net at a point of a layer, or of a cell beside it; 0: no copper there.
    [[nodiscard]] int net_at(int layer, Point p) const;
    /// Whether a net holds a pour or large polygon (10 mm2 of it or more).
    [[nodiscard]] bool is_plane(int layer, int net) const;
    [[nodiscard]] double cell_mm() const { return cell_mm_; }

    void filled(int x, int y, int size, Stack stack);
    void edge(int x, int y, const Walker::List& list);

  private:
    struct Run { ///< copper cells first..last of a row
        int first, last;
        int net;
    };
    struct Layer {
        std::vector<std::vector<Run>> rows;
        std::vector<int> parent;      ///< by net number
        std::vector<double> pour_mm2; ///< by net number, gathered at the root
    };
    void add_row(int y, const Stack* row);
    static void join_rows(Layer& layer, const std::vector<Run>& above, std::vector<Run>& row);
    static int root(const std::vector<int>& parent, int net);

    Walker walker_;
    double cell_mm_;
    int width_, height_;
    std::vector<Layer> layers_;
    int band_top_ = 0;
    std::vector<Stack> band_;
};

} // namespace ringwall::phantom
