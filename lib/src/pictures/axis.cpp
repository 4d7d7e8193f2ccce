// SPDX-License-Identifier: Apache-2.0
#include "pictures/axis.hpp"

#include "core/text.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

/// A typographic minus, as wide as a plus.
std::string with_minus(const std::string& number) {
    return number.starts_with('-') ? "−" + number.substr(1) : number;
}

double step_for(double range, int most) {
    double power = std::pow(10.0, std::floor(std::log10(range / most)));
    for (;; power *= 10) {
        for (const double step : {1.0, 2.0, 5.0})
            if (range / (step * power) <= most - 1) return step * power;
    }
}

} // namespace

std::vector<Tick> ticks(double low, double high, int most) {
    const double step = step_for(high - low, most);
    const int decimals = std::max(0, -static_cast<int>(std::floor(std::log10(step) + 1e-9)));
    std::vector<Tick> list;
    for (double k = std::ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k += 1)
        list.push_back({k * step, with_minus(fixed(k * step, decimals))});
    return list;
}

} // namespace ringwall
