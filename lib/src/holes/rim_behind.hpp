// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include "holes/rim_model.hpp"

#include <array>
#include <numeric>
#include <vector>

namespace ringwall {

inline constexpr double step_significance = 4.0; ///< sigmas between two zones for a step to be put in
inline constexpr double least_step = 0.006;      ///< in T: smaller ones do not move the edge (below 0.01 px)

/// Mean T behind the wall in steps of half a sigma, of one sector or of several together.
struct Behind {
    static constexpr int bins = 13;
    std::array<double, bins> sum{};
    std::array<int, bins> count{};
    void add(const Behind& other) {
        for (std::size_t i = 0; i < bins; ++i)
            sum[i] += other.sum[i], count[i] += other.count[i];
    }
    /// Over bins [from, to).
    [[nodiscard]] int pixels(int from, int to) const {
        return std::accumulate(count.begin() + from, count.begin() + to, 0);
    }
    [[nodiscard]] double mean(int from, int to) const {
        const int n = pixels(from, to);
        return n > 0 ? std::accumulate(sum.begin() + from, sum.begin() + to, 0.0) / n : 0;
    }
};

/// What the picture shows behind the wall of `model`, sector by sector.
std::vector<Behind> look_behind(ImageView<const float> t, const RimModel& model, double sigma);

/// First bin from `first` on whose mean leaves the mean of the ones before by more than noise; none: -1.
int first_change(const Behind& b, int first, double noise);

} // namespace ringwall
