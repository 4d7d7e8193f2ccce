// SPDX-License-Identifier: Apache-2.0
#include "exposure/blocks.hpp"

#include <opencv2/core.hpp>

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::exposure {
namespace {

constexpr int pixels = block_px * block_px;

/// Sums about the block's first pixel, so that float keeps its digits.
void one_block(ImageView<const float> picture, int x0, int y0, float& mean, float& variance) {
    const float zero = picture(x0, y0);
    float sum = 0, squares = 0;
    for (int y = y0; y < y0 + block_px; ++y) {
        const float* row = picture.row(y) + x0;
        for (int x = 0; x < block_px; ++x) {
            const float d = row[x] - zero;
            sum += d;
            squares += d * d;
        }
    }
    mean = zero + sum / pixels;
    variance = std::max(0.0F, (squares - sum * sum / pixels) / (pixels - 1));
}

/// Mean, variance of the nine means (8 degrees of freedom) and mean variance within, of the 3 x 3 blocks
/// round one.
struct Neighbourhood {
    double mean = 0;
    double between = 0;
    double within = 0;
};

Neighbourhood look(const Blocks& blocks, int col, int row) {
    std::array<double, 9> means{};
    Neighbourhood seen;
    std::size_t n = 0;
    for (int r = row - 1; r <= row + 1; ++r)
        for (int c = col - 1; c <= col + 1; ++c) {
            const std::size_t i = blocks.at(c, r);
            means[n++] = blocks.mean[i];
            seen.mean += blocks.mean[i];
            seen.within += blocks.variance[i];
        }
    seen.mean /= 9;
    seen.within /= 9;
    for (const double m : means)
        seen.between += (m - seen.mean) * (m - seen.mean);
    seen.between /= 8;
    return seen;
}

double ratio(const Neighbourhood& seen, double quantum) {
    const double floor = quantum * quantum / 12;
    return (pixels * seen.between + floor) / (seen.within + floor);
}

/// The ratio of between to within that undisturbed places of this picture have, from a low quantile, since
/// structure only raises it. The 10 % point of F(8, 135) is 0.43; the median of those below 2 is 0.89.
double usual_ratio(std::vector<float> ratios, double share, double of_independent_pixels) {
    if (ratios.empty()) return 1;
    return std::clamp(quantile(ratios, share) / of_independent_pixels, 1.0, 8.0);
}

} // namespace

void over_rows(int rows, const std::function<void(int, int)>& work) {
    cv::parallel_for_(cv::Range(0, rows), [&](const cv::Range& range) { work(range.start, range.end); });
}

Blocks make_blocks(ImageView<const float> picture) {
    Blocks blocks;
    blocks.cols = picture.width() / block_px;
    blocks.rows = picture.height() / block_px;
    const auto n = static_cast<std::size_t>(blocks.cols) * static_cast<std::size_t>(blocks.rows);
    blocks.mean.resize(n);
    blocks.variance.resize(n);
    over_rows(blocks.rows, [&](int first, int last) {
        for (int row = first; row < last; ++row)
            for (int col = 0; col < blocks.cols; ++col) {
                const std::size_t i = blocks.at(col, row);
                one_block(picture, col * block_px, row * block_px, blocks.mean[i], blocks.variance[i]);
            }
    });
    return blocks;
}

Frame::Frame(int width, int height)
    : middle_x((width - 1) / 2.0), middle_y((height - 1) / 2.0), half_px(std::max(width, height) / 2.0) {}

float quantile(std::vector<float>& values, double share) {
    const auto k =
        static_cast<std::size_t>(std::clamp(share, 0.0, 1.0) * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(k), values.end());
    return values[k];
}

FlatSpots find_flat_spots(const Blocks& blocks, double quantum, int step) {
    FlatSpots found;
    std::vector<float> ratios;
    for (int row = 1; row + 1 < blocks.rows; row += 3)
        for (int col = 1; col + 1 < blocks.cols; col += 3)
            ratios.push_back(static_cast<float>(ratio(look(blocks, col, row), quantum)));
    found.correlation = usual_ratio(ratios, 0.1, 0.43);
    // Again from those that pass: by then the lowest tenth is no longer a guess about how much of the picture
    // is flat.
    std::erase_if(ratios, [&](float r) { return r > 2 * found.correlation; });
    found.correlation = usual_ratio(ratios, 0.5, 0.89);
    const Frame frame(blocks.cols * block_px, blocks.rows * block_px);
    for (int row = 1; row + 1 < blocks.rows; row += step)
        for (int col = 1; col + 1 < blocks.cols; col += step) {
            const Neighbourhood seen = look(blocks, col, row);
            if (ratio(seen, quantum) > 2 * found.correlation) continue;
            FlatSpot spot;
            spot.x = static_cast<float>(frame.x((col + 0.5) * block_px - 0.5));
            spot.y = static_cast<float>(frame.y((row + 0.5) * block_px - 0.5));
            spot.col = col;
            spot.row = row;
            spot.mean = static_cast<float>(seen.mean);
            spot.variance = static_cast<float>(seen.within);
            found.spots.push_back(spot);
        }
    return found;
}

} // namespace ringwall::exposure
