// SPDX-License-Identifier: Apache-2.0
#include "exposure/blocks.hpp"

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

/// Quantiles of F for 9 or 25 blocks, and the share of their ratios used.
struct FlatRule {
    double low;    ///< 2 % point
    double limit;  ///< about 95 % point
    double median; ///< of those below the limit
};
constexpr FlatRule rule_of(int half) {
    return half == 1 ? FlatRule{0.25, 2.0, 0.89} : FlatRule{0.50, 1.6, 0.96};
}
constexpr double slope_limit = 4.2;

struct Neighbourhood {
    double mean = 0;
    double between = 0; ///< variance of the block means
    double within = 0;  ///< mean variance within the blocks
    double slope = 0;   ///< squares explained by a plane through the means
    bool cut = false;
};

Neighbourhood look(const Blocks& blocks, int col, int row, int half) {
    std::array<double, 25> means{};
    Neighbourhood seen;
    const int n = (2 * half + 1) * (2 * half + 1);
    double gx = 0, gy = 0, norm = 0;
    std::size_t k = 0;
    for (int r = -half; r <= half; ++r)
        for (int c = -half; c <= half; ++c) {
            const std::size_t i = blocks.at(col + c, row + r);
            means[k++] = blocks.mean[i];
            seen.mean += blocks.mean[i];
            seen.within += blocks.variance[i];
            seen.cut = seen.cut || blocks.is_cut(i);
            gx += c * blocks.mean[i];
            gy += r * blocks.mean[i];
            norm += c * c;
        }
    seen.mean /= n;
    seen.within /= n;
    for (std::size_t i = 0; i < k; ++i)
        seen.between += (means[i] - seen.mean) * (means[i] - seen.mean);
    seen.between /= n - 1;
    seen.slope = (gx * gx + gy * gy) / norm;
    return seen;
}

double over_noise(double square, const Neighbourhood& seen, double quantum) {
    const double floor = quantum * quantum / 12;
    return (pixels * square + floor) / (seen.within + floor + 1e-30);
}

/// The ratio of between to within that undisturbed places of this picture have, from a low quantile, since
/// structure only raises it.
double usual_ratio(std::vector<float> ratios, double share, double of_independent_pixels) {
    if (ratios.empty()) return 1;
    return std::clamp(quantile(ratios, share) / of_independent_pixels, 1.0, 8.0);
}

/// How many rows half, half + step, ... leave room for `half` more.
int steps(int rows, int half, int step) {
    return rows > 2 * half ? (rows - 2 * half - 1) / step + 1 : 0;
}

double usual_ratio(const Blocks& blocks, double quantum, int half) {
    auto ratios = joined_rows<float>(steps(blocks.rows, half, 3), [&](int i, std::vector<float>& list) {
        for (int col = half; col + half < blocks.cols; col += 3) {
            const Neighbourhood seen = look(blocks, col, half + 3 * i, half);
            if (seen.within <= 0 || seen.cut) continue;
            list.push_back(static_cast<float>(over_noise(seen.between, seen, quantum)));
        }
    });
    const FlatRule rule = rule_of(half);
    const double first = usual_ratio(ratios, 0.02, rule.low); // on a crowded board little is flat
    // Again from those that pass: by then the low quantile is no longer a guess about how much of the picture
    // is flat.
    std::erase_if(ratios, [&](float r) { return r > rule.limit * first; });
    return usual_ratio(ratios, 0.5, rule.median);
}

} // namespace

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

std::vector<bool> blocks_cut_off(ImageView<const float> picture, float low, float high) {
    const int cols = picture.width() / block_px, rows = picture.height() / block_px;
    std::vector<bool> cut;
    cut.reserve(static_cast<std::size_t>(cols) * static_cast<std::size_t>(rows));
    for (int row = 0; row < rows; ++row)
        for (int col = 0; col < cols; ++col) {
            int outside = 0;
            for (int y = row * block_px; y < (row + 1) * block_px; ++y)
                for (int x = col * block_px; x < (col + 1) * block_px; ++x)
                    outside += picture(x, y) <= low || picture(x, y) >= high;
            cut.push_back(outside >= 2);
        }
    return cut;
}

Frame::Frame(int width, int height)
    : middle_x((width - 1) / 2.0), middle_y((height - 1) / 2.0), half_px(std::max(width, height) / 2.0) {}

float quantile(std::vector<float>& values, double share) {
    const auto k =
        static_cast<std::size_t>(std::clamp(share, 0.0, 1.0) * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(k), values.end());
    return values[k];
}

FlatSpots find_flat_spots(const Blocks& blocks, double quantum, int step, int half) {
    FlatSpots found;
    const int count = (2 * half + 1) * (2 * half + 1);
    found.pixels = count * pixels;
    found.degrees = count * (pixels - 1);
    found.correlation = usual_ratio(blocks, quantum, half);
    const double limit = rule_of(half).limit * found.correlation;
    const Frame frame(blocks.cols * block_px, blocks.rows * block_px);
    const auto put = [&](int i, std::vector<FlatSpot>& list) {
        const int row = half + step * i;
        for (int col = half; col + half < blocks.cols; col += step) {
            const Neighbourhood seen = look(blocks, col, row, half);
            if (over_noise(seen.between, seen, quantum) > limit) continue;
            if (over_noise(seen.slope, seen, quantum) > slope_limit * found.correlation) continue;
            FlatSpot spot;
            spot.x = static_cast<float>(frame.x((col + 0.5) * block_px - 0.5));
            spot.y = static_cast<float>(frame.y((row + 0.5) * block_px - 0.5));
            spot.col = col;
            spot.row = row;
            spot.mean = static_cast<float>(seen.mean);
            spot.variance = static_cast<float>(seen.within);
            spot.cut = seen.cut;
            list.push_back(spot);
        }
    };
    found.spots = joined_rows<FlatSpot>(steps(blocks.rows, half, step), put);
    return found;
}

} // namespace ringwall::exposure
