// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>

namespace ringwall {

/// z with P(Z <= z) = probability for a standard normal Z; 0 < probability < 1, error below 1e-12. The same
/// bits everywhere the C library's erfc and log agree. Start: P. J. Acklam's rational approximation (2003,
/// public note; coefficients from memory), then one Halley step on erfc, which alone decides the result's
/// accuracy.
double normal_quantile(double probability);

/// Mean and variance of values that are independent readings of one quantity.
struct MeanVariance {
    double mean = 0;
    double variance = 0; ///< with n - 1; 0 for one value
    int n = 0;
};
/// Two passes, the second corrected for what rounding left of the first; at least one value.
MeanVariance mean_variance(std::span<const double> values);

} // namespace ringwall
