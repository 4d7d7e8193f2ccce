// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <functional>
#include <vector>

namespace ringwall::exposure {

/// Side of the coarse blocks that all fits over a whole picture stand on, in pixels.
inline constexpr int block_px = 4;
/// A neighbourhood is 3 x 3 blocks: 144 pixels.
inline constexpr int neighbourhood_px = 3 * block_px;

/// Runs work(first_row, last_row) over [0, rows) on the pool in force. The work must write to places of its
/// own, so that the split changes no bit.
void over_rows(int rows, const std::function<void(int, int)>& work);

/// Mean and variance (unbiased, 15 degrees of freedom) of every 4 x 4 block; the rest at the right and the
/// bottom is left out. Grey values in the picture's own unit.
struct Blocks {
    int cols = 0;
    int rows = 0;
    std::vector<float> mean;
    std::vector<float> variance;
    [[nodiscard]] std::size_t at(int col, int row) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(cols) + static_cast<std::size_t>(col);
    }
    [[nodiscard]] std::size_t size() const { return mean.size(); }
};

Blocks make_blocks(ImageView<const float> picture);

/// A place where 3 x 3 blocks differ by no more than their noise: one material, one heel value.
struct FlatSpot {
    float x = 0; ///< centre, in units of half the picture's longer side from its middle: -1 to 1
    float y = 0;
    int col = 0; ///< block in the middle
    int row = 0;
    float mean = 0;     ///< of 144 pixels
    float variance = 0; ///< of one pixel, pooled within the nine blocks
};

/// All flat spots on a grid of `step` blocks (1: every block in the middle). `quantum`: the step of the grey
/// scale.
///
/// A spot is flat when the variance of its nine means, times 16, is below twice the picture's usual ratio to
/// the variance within them (F(8, 135) passes 2 in 5 % of cases). The usual ratio is 1 for independent
/// pixels; it is returned in `correlation` (more after smoothing in the cabinet).
struct FlatSpots {
    std::vector<FlatSpot> spots;
    double correlation = 1;
};
FlatSpots find_flat_spots(const Blocks& blocks, double quantum, int step);

/// Places in FlatSpot units.
struct Frame {
    double middle_x = 0; ///< px
    double middle_y = 0;
    double half_px = 1;
    Frame(int width, int height);
    [[nodiscard]] double x(double x_px) const { return (x_px - middle_x) / half_px; }
    [[nodiscard]] double y(double y_px) const { return (y_px - middle_y) / half_px; }
};

/// k-th smallest (k = share * n) of the values, which are shuffled. Not empty.
float quantile(std::vector<float>& values, double share);

} // namespace ringwall::exposure
