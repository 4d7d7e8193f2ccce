// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/walker.hpp"

#include <vector>

namespace ringwall::phantom {

/// The sharp picture of a scene, intensity averaged over every cell of a fine grid, made band by band.
///
/// Inside a cell that one edge crosses the two stacks' transmissions are mixed by the covered share (the edge
/// taken as straight: for a cell of side h and an edge of radius R that moves the edge by h^2/(24 R)); cells
/// with several edges are split 4 x 4 first. Intensities are mixed, never path lengths.
class FineRaster {
  public:
    FineRaster(Scene& scene, StackTransmission& transmission, CellGrid grid, int width);
    /// Rows first..first+count-1 into `rows`, width() floats each.
    void draw(int first, int count, float* rows);
    [[nodiscard]] int width() const { return width_; }

    void filled(int x, int y, int size, Stack stack);
    void edge(int x, int y, const Walker::List& list);

  private:
    double cell_mean(Point centre, double side, const Walker::List& list, int depth);
    double straight_edge_mean(Point centre, double side, const Walker::List& list, int figure);

    Walker walker_;
    StackTransmission& transmission_;
    int width_;
    int first_ = 0, count_ = 0;
    float* rows_ = nullptr;
};

} // namespace ringwall::phantom
