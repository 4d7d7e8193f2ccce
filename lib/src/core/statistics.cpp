// SPDX-License-Identifier: Apache-2.0
#include "core/statistics.hpp"

#include <cassert>
#include <cmath>
#include <numbers>

namespace ringwall {
namespace {

double tail_start(double probability) {
    const double q = std::sqrt(-2 * std::log(probability));
    return (((((-7.784894002430293e-03 * q - 3.223964580411365e-01) * q - 2.400758277161838) * q -
              2.549732539343734) *
                 q +
             4.374664141464968) *
                q +
            2.938163982698783) /
           ((((7.784695709041462e-03 * q + 3.224671290700398e-01) * q + 2.445134137142996) * q +
             3.754408661907416) *
                q +
            1);
}

double middle_start(double probability) {
    const double q = probability - 0.5, r = q * q;
    return (((((-3.969683028665376e+01 * r + 2.209460984245205e+02) * r - 2.759285104469687e+02) * r +
              1.383577518672690e+02) *
                 r -
             3.066479806614716e+01) *
                r +
            2.506628277459239) *
           q /
           (((((-5.447609879822406e+01 * r + 1.615858368580409e+02) * r - 1.556989798598866e+02) * r +
              6.680131188771972e+01) *
                 r -
             1.328068155288572e+01) *
                r +
            1);
}

} // namespace

double normal_quantile(double probability) {
    assert(probability > 0 && probability < 1);
    if (probability > 0.5) return -normal_quantile(1 - probability);
    double z = probability < 0.02425 ? tail_start(probability) : middle_start(probability);
    for (int step = 0; step < 2; ++step) {
        const double error = 0.5 * std::erfc(-z / std::numbers::sqrt2) - probability;
        const double u = error * std::sqrt(2 * std::numbers::pi) * std::exp(z * z / 2);
        z -= u / (1 + z * u / 2);
    }
    return z;
}

MeanVariance mean_variance(std::span<const double> values) {
    assert(!values.empty());
    const auto n = static_cast<double>(values.size());
    double sum = 0, squares = 0, left = 0;
    for (const double value : values)
        sum += value;
    const double mean = sum / n;
    for (const double value : values) {
        squares += (value - mean) * (value - mean);
        left += value - mean;
    }
    const double variance = values.size() < 2 ? 0 : (squares - left * left / n) / (n - 1);
    return {mean + left / n, variance, static_cast<int>(values.size())};
}

} // namespace ringwall
