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

/// What a core must reach, given how well its level is known. Laminate gaps outnumber holes by far, so the
/// step must be passed by more than its middle when noise is large: the Bayes limit of two normals with odds
/// of e^9 to 1, from (x - middle) 2 tolerance / sigma^2 > 9.
double least_core(const GreyScale& grey, double sigma) {
    return grey.open - grey.tolerance + std::min(0.9 * grey.tolerance, 4.5 * sigma * sigma / grey.tolerance);
}

bool reaches_void(const Rim& rim, const GreyScale& grey, double pixel) {
    const double sigma = grey.noise / pixel / std::sqrt(0.4 * std::numbers::pi * rim.radius * rim.radius);
    const bool small = pixel == 1 && rim.radius <= 5 * grey.blur_px; // judged again with the blur taken out
    return core_without_blur(rim, grey, pixel) >=
           (small ? grey.open - grey.tolerance - 3 * sigma : least_core(grey, sigma));
}

/// Below this, shapes that are round by chance outnumber holes (found on pictures of populated and bare
/// boards).
constexpr double least_score = 0.58;
/// The same where grey values are doubtful, for small shapes, which are round by chance far more often.
constexpr double least_doubtful_score = 0.8;
constexpr double small_px = 8;

double outward(const Rim& rim) {
    return rim.share(RayEnd::bite) + rim.share(RayEnd::open);
}

/// How often the ends change along the turn between on the rim and off it: parts and bites come in arcs.
int changes(const Rim& rim) {
    int n = 0;
    for (std::size_t i = 0; i < rim_rays; ++i)
        n += (rim.ends[i] == RayEnd::rim) != (rim.ends[(i + 1) % rim_rays] == RayEnd::rim);
    return n;
}

bool round_enough(const Rim& rim) {
    return rim.share(RayEnd::rim) >= 0.42 && outward(rim) <= 0.3 && changes(rim) <= 14;
}

} // namespace

double judge(const Rim& rim, const GreyScale& grey, int level) {
    const double pixel = 1 << level;
    if (rim.radius < 2 || !reaches_void(rim, grey, pixel) || !round_enough(rim)) return 0;
    if (rim.contrast < 0.8 * grey.tolerance) return 0;
    const double sharp = 1 / (1 + std::pow(rim.scatter_px / (0.1 * rim.radius + 0.5), 2));
    // What something hides says nothing for or against; void beyond the outline speaks against it.
    const double on_rim = rim.share(RayEnd::rim) / (1 - 0.7 * rim.share(RayEnd::hidden));
    // One bite out of a large, sharp circle is wear; round shapes by chance are neither sharp nor whole
    // elsewhere.
    const bool one_bite = changes(rim) <= 2 && rim.share(RayEnd::open) == 0 && rim.radius > 12 &&
                          rim.scatter_px < 0.15 + 0.01 * rim.radius;
    const double score = on_rim * std::pow(1 - outward(rim), one_bite ? 1 : 2) * sharp;
    const double least = grey.doubtful && rim.radius * pixel < small_px ? least_doubtful_score : least_score;
    return score < least ? 0 : score;
}

bool is_small_bore(const SmallCore& core, const GreyScale& grey) {
    if (core.radius < std::max(2.0, 1.3 * grey.blur_px))
        return false; // nothing but a blurred point: cannot be told
    // Brighter than air: no bore, but for what a blur a few per cent off makes of its height.
    const double slack = grey.tolerance + 0.15 * (core.core - core.wall);
    if (core.core - 3 * core.core_sigma > grey.open + slack) return false;
    if (core.core - std::min(core.wall, core.beyond) < grey.tolerance) return false;
    // A barrel is a strong sign by itself; without one the level alone must tell.
    if (core.ring_sigmas > 7) return core.core >= grey.open - grey.tolerance - 2 * core.core_sigma;
    return core.contrast_sigmas > 7 && core.core >= least_core(grey, core.core_sigma);
}

double judge_covered(const Rim& rim, double core, double wall, double beyond, double ring_sigmas,
                     const GreyScale& grey) {
    if (rim.share(RayEnd::rim) < 0.97 || rim.scatter_px > 0.06 * rim.radius + 0.3) return 0;
    if (core < 0.3 * grey.open || ring_sigmas < 10 || rim.radius < std::max(3.0, 2 * grey.blur_px)) return 0;
    const double board_step = std::log(grey.open / (grey.open - 2 * grey.tolerance));
    const double to_beyond = std::log(core / std::max(beyond, 0.02 * core));
    const double to_wall = std::log(core / std::max(wall, 0.02 * core));
    // A window in a plane with a ring of copper in it stays below: one foil, or two, not the board's depth.
    const double depth = grey.doubtful || grey.foil <= 0 ? 0.45 : std::clamp(8 * grey.foil, 0.15, 0.45);
    const bool barrel = to_wall > std::max(depth, 1.5 * to_beyond);
    return barrel && to_beyond > 0.6 * board_step ? 0.8 : 0;
}

double judge_covered_bare(const Rim& rim, const GreyScale& grey, int level) {
    const double step = std::log(grey.open / grey.board);
    if (grey.doubtful || rim.core <= grey.board || step < 0.1) return 0;
    if (rim.share(RayEnd::rim) < 0.97 || rim.scatter_px > 0.01 * rim.radius + 0.15) return 0;
    if (rim.radius * (1 << level) < 8 * grey.blur_px) return 0;
    const double above_board = std::log(rim.core / grey.board);
    const double to_beyond = std::log(rim.core / std::max(rim.beyond, 0.02 * rim.core));
    return above_board > 0.5 * step && to_beyond > 0.6 * step ? 0.8 : 0;
}

bool has_dark_ring(const Rim& rim) {
    return rim.ring_sigmas > 5 && rim.beyond - rim.darkest > 0.1 * rim.contrast;
}

} // namespace ringwall::holes
