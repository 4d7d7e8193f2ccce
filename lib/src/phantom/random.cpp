// SPDX-License-Identifier: Apache-2.0
#include "phantom/random.hpp"

#include <array>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

/// ln k!: a table, then Stirling's series (error below 1e-11 from 16 on). std::lgamma writes a global.
double log_factorial(double k) {
    static const std::array<double, 16> table = [] {
        std::array<double, 16> t{};
        for (std::size_t i = 1; i < t.size(); ++i)
            t[i] = t[i - 1] + std::log(static_cast<double>(i));
        return t;
    }();
    if (k < 16) return table[static_cast<std::size_t>(k)];
    const double k2 = k * k;
    return (k + 0.5) * std::log(k) - k + 0.5 * std::log(2 * std::numbers::pi) + 1 / (12 * k) -
           1 / (360 * k * k2) + 1 / (1260 * k * k2 * k2);
}

double poisson_by_product(Random& random, double mean) {
    const double stop = std::exp(-mean);
    double product = random.uniform();
    double count = 0;
    for (; product > stop; ++count)
        product *= random.uniform();
    return count;
}

/// Transformed rejection "PTRS": Hoermann 1993, doi 10.1016/0167-6687(93)90997-4 (constants from memory; the
/// tests compare the drawn distribution with the exact one).
double poisson_by_rejection(Random& random, double mean) {
    const double b = 0.931 + 2.53 * std::sqrt(mean);
    const double a = -0.059 + 0.02483 * b;
    const double inverse_alpha = 1.1239 + 1.1328 / (b - 3.4);
    const double squeeze = 0.9277 - 3.6224 / (b - 2);
    for (;;) {
        const double u = random.uniform() - 0.5;
        const double v = random.uniform();
        const double us = 0.5 - std::abs(u);
        const double k = std::floor((2 * a / us + b) * u + mean + 0.43);
        if (us >= 0.07 && v <= squeeze) return k;
        if (k < 0 || (us < 0.013 && v > us)) continue;
        const double log_accept = std::log(v * inverse_alpha / (a / (us * us) + b));
        if (log_accept <= k * std::log(mean) - mean - log_factorial(k)) return k;
    }
}

} // namespace

double Random::normal() {
    const double radius = std::sqrt(-2 * std::log(uniform()));
    return radius * std::cos(2 * std::numbers::pi * uniform());
}

double Random::poisson(double mean) {
    if (mean <= 0) return 0;
    return mean < 10 ? poisson_by_product(*this, mean) : poisson_by_rejection(*this, mean);
}

} // namespace ringwall::phantom
