// SPDX-License-Identifier: Apache-2.0
#include "core/arcs.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {

namespace {

double wrapped(double degrees) {
    const double w = std::fmod(degrees, 360.0);
    return w < 0 ? w + 360.0 : w;
}

} // namespace

std::vector<Arc> arcs_from_flags(const std::vector<bool>& flags) {
    const int n = static_cast<int>(flags.size());
    if (std::find(flags.begin(), flags.end(), true) == flags.end()) return {};
    const auto gap = std::find(flags.begin(), flags.end(), false);
    if (gap == flags.end()) return {{0, 360}};
    const int start = static_cast<int>(gap - flags.begin());
    const double bin = 360.0 / n;
    std::vector<Arc> arcs;
    for (int i = 0; i < n; ++i) {
        const int k = (start + i) % n;
        if (!flags[static_cast<std::size_t>(k)]) continue;
        int length = 1;
        while (flags[static_cast<std::size_t>((k + length) % n)])
            ++length;
        arcs.push_back({wrapped((k - 0.5) * bin), wrapped((k + length - 0.5) * bin)});
        i += length;
    }
    std::sort(arcs.begin(), arcs.end(), [](const Arc& a, const Arc& b) { return a.from_deg < b.from_deg; });
    return arcs;
}

double span_deg(const Arc& arc) {
    const double span = arc.to_deg - arc.from_deg;
    return span < 0 ? span + 360 : span;
}

bool contains(const Arc& arc, double angle_deg) {
    return wrapped(angle_deg - arc.from_deg) <= span_deg(arc);
}

} // namespace ringwall
