// SPDX-License-Identifier: Apache-2.0
#include "screwfit/decision.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::screwfit {
namespace {

constexpr double root_3 = 1.7320508075688772;

/// Everything but the fit.
std::vector<Component> other_parts(const RingInMm& ring, double scaled_mm) {
    std::vector<Component> parts;
    parts.push_back({"scale", std::abs(scaled_mm) * ring.scale_relative_u});
    if (!ring.height || ring.height->source_to_board_mm <= 0) return parts;
    const double share = 0.5 * ring.height->board_mm / ring.height->source_to_board_mm / root_3;
    parts.push_back({"height of the plane", std::abs(scaled_mm) * share});
    parts.push_back({"height of the plane, off the central ray", ring.height->off_axis_mm * share});
    return parts;
}

double combined(const std::vector<Component>& parts) {
    double variance = 0;
    for (const Component& part : parts)
        variance += part.u_mm * part.u_mm;
    return std::sqrt(variance);
}

} // namespace

Margin margin_of(const RingInMm& ring, double value_mm, double scaled_mm, double z) {
    const std::vector<Component> other = other_parts(ring, scaled_mm);
    const double u_fit = combined(ring.fit), u_other = combined(other);
    Margin margin;
    margin.parts = ring.fit;
    margin.parts.insert(margin.parts.end(), other.begin(), other.end());
    margin.value = Estimate::of(value_mm, std::hypot(u_fit, u_other));
    margin.low_mm = value_mm - std::hypot(std::max(ring.gap_low_by_mm, z * u_fit), z * u_other);
    margin.high_mm = value_mm + z * std::hypot(u_fit, u_other);
    return margin;
}

Finding decide(const Margin& contact, const std::optional<Margin>& resting,
               const std::optional<Margin>& deciding, bool gap_forbidden) {
    if (contact.value && contact.high_mm < 0) return Finding::reaches;
    if (resting && resting->value && resting->high_mm < 0) return Finding::too_close;
    if (!gap_forbidden && deciding && deciding->value && deciding->low_mm > 0) return Finding::gap_shown;
    return Finding::undecided;
}

Finding worse(Finding a, Finding b) {
    constexpr std::array order{Finding::reaches, Finding::too_close, Finding::undecided, Finding::gap_shown};
    return *std::min(std::find(order.begin(), order.end(), a), std::find(order.begin(), order.end(), b));
}

} // namespace ringwall::screwfit
