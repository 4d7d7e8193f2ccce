// SPDX-License-Identifier: Apache-2.0
#include "holes/rim_behind.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {

std::vector<Behind> look_behind(ImageView<const float> t, const RimModel& model, double sigma) {
    std::vector<Behind> sectors(model.sectors.size());
    const double wall = model.drill_radius_px(), bin = 0.5 * sigma, end = wall + Behind::bins * bin;
    const int x0 = static_cast<int>(model.centre_px.x - end) - 1,
              y0 = static_cast<int>(model.centre_px.y - end) - 1;
    const int size = static_cast<int>(2 * end) + 4;
    for (int y = std::max(0, y0); y < std::min(t.height(), y0 + size); ++y)
        for (int x = std::max(0, x0); x < std::min(t.width(), x0 + size); ++x) {
            const double dx = x - model.centre_px.x, dy = y - model.centre_px.y,
                         behind = std::sqrt(dx * dx + dy * dy) - wall;
            const int i = static_cast<int>(std::floor(behind / bin));
            if (i < 0 || i >= Behind::bins) continue;
            Behind& sector = sectors[static_cast<std::size_t>(model.sector_of(dx, dy))];
            sector.sum[static_cast<std::size_t>(i)] += t(x, y), ++sector.count[static_cast<std::size_t>(i)];
        }
    return sectors;
}

int first_change(const Behind& b, int first, double noise) {
    for (int i = first + 2; i < Behind::bins; ++i) {
        const int here = b.pixels(i, i + 1), before = b.pixels(first, i);
        if (here < 2 || before < 2) continue;
        const double e = noise * std::sqrt(1.0 / here + 1.0 / before);
        if (std::abs(b.mean(i, i + 1) - b.mean(first, i)) > std::max(step_significance * e, least_step))
            return i;
    }
    return -1;
}

} // namespace ringwall
