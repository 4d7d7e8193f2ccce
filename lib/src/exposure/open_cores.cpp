// SPDX-License-Identifier: Apache-2.0
#include "exposure/open_cores.hpp"

#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace ringwall::exposure {
namespace {

constexpr int reach_px = 14; // bores wider than twice this have flat spots of their own

struct Core {
    Point centre_px;
    double area_px = 0;
};

double mean_3x3(ImageView<const float> signal, int cx, int cy) {
    double sum = 0;
    for (int y = cy - 1; y <= cy + 1; ++y)
        for (int x = cx - 1; x <= cx + 1; ++x)
            sum += signal(x, y);
    return sum / 9;
}

/// Centroid of the places whose 3 x 3 mean is above the threshold; their number tells whether this is one
/// narrow bore.
Core centroid(ImageView<const float> signal, int cx, int cy, double threshold) {
    Core core;
    for (int y = std::max(1, cy - reach_px); y <= std::min(signal.height() - 2, cy + reach_px); ++y)
        for (int x = std::max(1, cx - reach_px); x <= std::min(signal.width() - 2, cx + reach_px); ++x) {
            if (std::hypot(x - cx, y - cy) > reach_px || mean_3x3(signal, x, y) < threshold) continue;
            core.centre_px.x += x;
            core.centre_px.y += y;
            core.area_px += 1;
        }
    if (core.area_px > 0) core.centre_px = {core.centre_px.x / core.area_px, core.centre_px.y / core.area_px};
    return core;
}

} // namespace

Estimate open_from_cores(ImageView<const float> signal, const Blocks& blocks, const Background& background) {
    const Frame frame(blocks.cols * block_px, blocks.rows * block_px);
    const double next = background.levels.empty() ? -0.05 : std::min(-0.02, background.levels.front().value);
    std::vector<float> values;
    std::vector<bool> seen(blocks.size(), false);
    for (int row = 1; row + 1 < blocks.rows; ++row)
        for (int col = 1; col + 1 < blocks.cols; ++col) {
            if (seen[blocks.at(col, row)]) continue;
            const double px = (col + 0.5) * block_px - 0.5, py = (row + 0.5) * block_px - 0.5;
            const double open = background.open + background.surface.at(frame.x(px), frame.y(py));
            if (std::log(std::max(1e-30F, blocks.mean[blocks.at(col, row)])) - open < 0.35 * next) continue;
            const Core core =
                centroid(signal, static_cast<int>(px), static_cast<int>(py), std::exp(open + 0.5 * next));
            for (int r = std::max(0, row - 3); r <= std::min(blocks.rows - 1, row + 3); ++r)
                for (int c = std::max(0, col - 3); c <= std::min(blocks.cols - 1, col + 3); ++c)
                    seen[blocks.at(c, r)] = true;
            const int cx = static_cast<int>(std::lround(core.centre_px.x)),
                      cy = static_cast<int>(std::lround(core.centre_px.y));
            if (core.area_px < 60 || cx < 1 || cy < 1 || cx + 1 >= signal.width() ||
                cy + 1 >= signal.height())
                continue;
            values.push_back(static_cast<float>(std::log(std::max(1e-30, mean_3x3(signal, cx, cy))) -
                                                background.surface.at(frame.x(cx), frame.y(cy))));
        }
    if (values.size() < 5) return Estimate::missing("too few narrow bores in view");
    const double middle = quantile(values, 0.5);
    for (float& v : values)
        v = static_cast<float>(std::abs(v - middle));
    const double spread = 1.4826 * quantile(values, 0.5);
    return Estimate::of(middle, 1.25 * spread / std::sqrt(static_cast<double>(values.size())));
}

} // namespace ringwall::exposure
