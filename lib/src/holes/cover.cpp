// SPDX-License-Identifier: Apache-2.0
#include "holes/cover.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace ringwall {

namespace {

constexpr double least_cover = 0.03;    // of the beam: a background that is off does not pass for a body
constexpr double quantile_spread = 1.6; // of noise, between its lower and upper tenth over 2.56 sigma

/// Pixels of the core that the rim's blur leaves alone, in rising order.
std::vector<double> core_values(const TransmissionMap& map, const HoleCandidate& candidate, double sigma_px) {
    std::vector<double> values;
    const double reach =
        std::max(1.5, std::min(candidate.radius_px - 2 * sigma_px, 0.8 * candidate.radius_px));
    const int r = static_cast<int>(std::ceil(reach)), stride = std::max(1, r / 16);
    const int cx = static_cast<int>(std::lround(candidate.centre_px.x));
    const int cy = static_cast<int>(std::lround(candidate.centre_px.y));
    for (int dy = -r; dy <= r; dy += stride)
        for (int dx = -r; dx <= r; dx += stride)
            if (dx * dx + dy * dy <= reach * reach && map.t.contains(cx + dx, cy + dy))
                values.push_back(map.t(cx + dx, cy + dy));
    std::sort(values.begin(), values.end());
    return values;
}

double scaled(const Estimate& level, double share) {
    return level.value() * share;
}

} // namespace

double cover_of(const TransmissionMap& map, const HoleCandidate& candidate, double sigma_px, double open) {
    if (!map.t_is_physical || candidate.radius_px < 2.5 * sigma_px) return 1;
    const std::vector<double> values = core_values(map, candidate, sigma_px);
    if (values.size() < 7) return 1;
    const double middle = values[values.size() / 2];
    const double spread = values[values.size() * 9 / 10] - values[values.size() / 10];
    const double noise = map.noise.sigma(middle);
    const double u = 1.25 * noise * std::sqrt(map.noise.correlation / static_cast<double>(values.size()));
    if (spread > quantile_spread * 2.56 * noise + 0.01) return 1; // something covers a share of it
    const bool covered = middle < open * (1 - least_cover) - 4 * u;
    return covered ? std::max(middle / open, 0.05) : 1;
}

MaterialLevels seen_through(const MaterialLevels& levels, double cover) {
    if (cover == 1) return levels;
    MaterialLevels out = levels;
    if (out.open) out.open = Estimate::of(scaled(out.open, cover), out.open.u());
    if (out.laminate) out.laminate = Estimate::of(scaled(out.laminate, cover), out.laminate.u());
    for (Estimate& copper : out.copper)
        if (copper) copper = Estimate::of(scaled(copper, cover), copper.u());
    return out;
}

RimShared seen_through(const RimShared& shared, double cover) {
    return {shared.sigma_px, shared.barrel * cover};
}

} // namespace ringwall
