// SPDX-License-Identifier: Apache-2.0
#include "holes/judge.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::holes {
namespace {

/// The core as it would be without the dark surround that blur lets in, at most by this much.
double core_without_blur(const Rim& rim, const GreyScale& grey, double pixel) {
    const double blur = grey.blur_px / pixel;
    const double leak = std::exp(-0.5 * rim.radius * rim.radius / (blur * blur + 0.3));
    return rim.core + leak * rim.contrast;
}

bool reaches_void(const Rim& rim, const GreyScale& grey, double pixel) {
    const double sigma = grey.noise / pixel / std::sqrt(0.4 * std::numbers::pi * rim.radius * rim.radius);
    return core_without_blur(rim, grey, pixel) + 3 * sigma >= grey.open - grey.tolerance;
}

bool round_enough(const Rim& rim) {
    const double rim_share = rim.share(RayEnd::rim);
    const double outward = rim.share(RayEnd::bite) + rim.share(RayEnd::open);
    return rim_share >= 0.5 && outward <= 0.3;
}

} // namespace

double judge(const Rim& rim, const GreyScale& grey, int level) {
    const double pixel = 1 << level;
    if (rim.radius < 2 || !reaches_void(rim, grey, pixel) || !round_enough(rim)) return 0;
    if (rim.contrast < 0.8 * grey.tolerance) return 0;
    const double sharp = 1 / (1 + std::pow(rim.scatter_px / (0.1 * rim.radius + 0.5), 2));
    return rim.share(RayEnd::rim) * sharp;
}

bool is_small_bore(const SmallCore& core, const GreyScale& grey) {
    // A barrel is a strong sign by itself; without one the level alone must tell.
    const double slack = core.ring_sigmas > 6 ? 2 : 0;
    return core.core + slack * core.core_sigma >= grey.open - grey.tolerance &&
           core.core - std::min(core.wall, core.beyond) > grey.tolerance;
}

bool has_dark_ring(const Rim& rim) {
    return rim.ring_sigmas > 5 && rim.beyond - rim.darkest > 0.1 * rim.contrast;
}

} // namespace ringwall::holes
