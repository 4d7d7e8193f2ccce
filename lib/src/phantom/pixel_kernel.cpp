// SPDX-License-Identifier: Apache-2.0
#include "phantom/pixel_kernel.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

/// Integral of the normal distribution function from -infinity to x.
double ramp(double x, double sigma) {
    if (sigma <= 0) return std::max(x, 0.0);
    const double z = x / sigma;
    const double density = std::exp(-z * z / 2) / std::sqrt(2 * std::numbers::pi);
    return x * 0.5 * std::erfc(-z / std::numbers::sqrt2) + sigma * density;
}

} // namespace

Kernel pixel_kernel(double sigma_px, int cells) {
    // Averaging over cells of width h = 1/cells blurs by h^2/6 on average (box of the cell, and the step in
    // which it is held): taken off the optics' blur, so that the total is as asked.
    const double held = 1.0 / (6.0 * cells * cells);
    const double sigma = std::sqrt(std::max(0.0, sigma_px * sigma_px - held));
    Kernel kernel{static_cast<int>(std::ceil(5 * sigma)), {}};
    const auto integral = [&](double x) { return ramp(x + 0.5, sigma) - ramp(x - 0.5, sigma); };
    const int taps = (2 * kernel.reach_px + 1) * cells;
    double sum = 0;
    std::vector<double> weights;
    for (int i = 0; i < taps; ++i) {
        const double left = -kernel.reach_px - 0.5 + static_cast<double>(i) / cells;
        weights.push_back(integral(left + 1.0 / cells) - integral(left));
        sum += weights.back();
    }
    for (const double w : weights)
        kernel.weights.push_back(static_cast<float>(w / sum));
    return kernel;
}

} // namespace ringwall::phantom
