// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "exposure/blocks.hpp"

#include <vector>

namespace ringwall::exposure {

/// Variance of one pixel as a straight line over the mean: variance = constant + slope * mean.
struct NoiseLine {
    double constant = 0;
    double slope = 0;
    double slope_u = 0; ///< standard uncertainty of the slope, from the scatter of the bins about the line
    double lowest = 0;  ///< range of means that carried the fit
    double highest = 0;
    int bins = 0; ///< 0: no fit
    [[nodiscard]] double variance(double mean) const;
};

/// Line through the medians of `variance` over bins of `mean`, robust against bins full of structure (which
/// only adds variance); spots cut off at an end of the scale are left out. `degrees`: degrees of freedom of
/// each variance, for the median of chi-square.
NoiseLine fit_noise(const std::vector<FlatSpot>& spots, double degrees);

} // namespace ringwall::exposure
