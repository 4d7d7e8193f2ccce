// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bridge/parallel.hpp"
#include "ringwall/image.hpp"

#include <algorithm>
#include <vector>

namespace ringwall::exposure {

/// Side of the coarse blocks that all fits over a whole picture stand on, in pixels.
inline constexpr int block_px = 4;

using bridge::over_rows;

/// What put(row, list) puts into its list for each row, one row after the other.
template<typename Item, typename Put>
std::vector<Item> joined_rows(int rows, const Put& put) {
    std::vector<std::vector<Item>> of_row(static_cast<std::size_t>(std::max(rows, 0)));
    over_rows(rows, [&](int first, int last) {
        for (int row = first; row < last; ++row)
            put(row, of_row[static_cast<std::size_t>(row)]);
    });
    std::vector<Item> all;
    for (const auto& list : of_row)
        all.insert(all.end(), list.begin(), list.end());
    return all;
}

/// Mean and variance (unbiased, 15 degrees of freedom) of every 4 x 4 block; the rest at the right and the
/// bottom is left out. Grey values in the picture's own unit.
struct Blocks {
    int cols = 0;
    int rows = 0;
    std::vector<float> mean;
    std::vector<float> variance;
    std::vector<bool> cut; ///< has pixels cut off at an end of the scale; empty: none has
    [[nodiscard]] bool is_cut(std::size_t i) const { return !cut.empty() && cut[i]; }
    [[nodiscard]] std::size_t at(int col, int row) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(cols) + static_cast<std::size_t>(col);
    }
    [[nodiscard]] std::size_t size() const { return mean.size(); }
};

Blocks make_blocks(ImageView<const float> picture);

/// For each block of the picture: whether two pixels or more lie outside (low, high).
std::vector<bool> blocks_cut_off(ImageView<const float> picture, float low, float high);

/// A place where neighbouring blocks differ by no more than their noise: one material, one heel value.
struct FlatSpot {
    float x = 0; ///< centre, in units of half the picture's longer side from its middle: -1 to 1
    float y = 0;
    int col = 0; ///< block in the middle
    int row = 0;
    float mean = 0;
    float variance = 0; ///< of one pixel, pooled within the blocks
    bool cut = false;   ///< has pixels cut off at an end of the scale: says nothing about noise
};

/// Flat spots of one size. `correlation`: usual ratio of the variance between block means, times 16, to that
/// within; 1 for independent pixels, more after smoothing in the cabinet.
struct FlatSpots {
    std::vector<FlatSpot> spots;
    double correlation = 1;
    int pixels = 0;     ///< in a spot
    double degrees = 0; ///< degrees of freedom of a spot's variance
};

/// Flat spots of (2 half + 1)^2 blocks, half 1 or 2, with their middles on a grid of `step` blocks.
/// `quantum`: step of the grey scale.
///
/// A spot is flat when its block means neither scatter (ratio between to within below what F passes in about
/// 95 %) nor slope (the plane through them below what chi-square of 2 degrees passes in 88 %): a foil's edge
/// behind a hard beam is weaker than a pixel's noise, and only the slope tells it.
FlatSpots find_flat_spots(const Blocks& blocks, double quantum, int step, int half = 1);

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
