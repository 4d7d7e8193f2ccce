// SPDX-License-Identifier: Apache-2.0
#include "compare/false_discovery.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace ringwall::compare {

double discovery_limit(std::span<const double> p, double rate) {
    std::vector<double> sorted(p.begin(), p.end());
    std::sort(sorted.begin(), sorted.end());
    const auto tests = static_cast<double>(sorted.size());
    for (std::size_t rank = sorted.size(); rank > 0; --rank)
        if (sorted[rank - 1] <= rate * static_cast<double>(rank) / tests) return sorted[rank - 1];
    return 0;
}

double two_sided_p(double z) {
    return std::erfc(z / std::numbers::sqrt2);
}

} // namespace ringwall::compare
