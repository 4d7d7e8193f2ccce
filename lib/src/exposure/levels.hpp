// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

namespace ringwall::exposure {

/// One measured place on a log scale: ln of signal (0 = open beam once flattened, denser is lower).
struct LogSample {
    double value = 0;
    double sigma = 0; ///< noise of the value
};

/// A material's level on a log scale.
struct LogLevel {
    double value = 0;
    double u = 0;     ///< standard uncertainty of the value
    double count = 0; ///< samples under the peak
};

/// Peaks of the density of the samples, smoothed by each sample's own noise (and at least `least_sigma`),
/// brightest first. A peak counts when it holds at least `fewest` samples and stands over the saddle towards
/// its higher neighbour by more than 3 sigma of counting.
std::vector<LogLevel> find_levels(const std::vector<LogSample>& samples, double least_sigma, double fewest);

/// Index of the level nearest to the value, -1 without levels.
int nearest_level(const std::vector<LogLevel>& levels, double value);

} // namespace ringwall::exposure
