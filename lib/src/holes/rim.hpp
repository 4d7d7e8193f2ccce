// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <array>
#include <optional>

namespace ringwall::holes {

inline constexpr int rim_rays = 64;

/// How one ray from inside a bright core ends.
enum class RayEnd {
    rim,    ///< falls from the core's level, on the fitted circle
    bite,   ///< bright beyond the circle, falls further out
    hidden, ///< falls, or is dark, before the circle
    open    ///< does not fall within reach
};

/// A round rim seen from inside, in pixels of the picture it was searched in.
///
/// Model: r(a) = radius + a2 cos 2a + b2 sin 2a about the centre, the outline of a hole that may be somewhat
/// oval.
struct Rim {
    Point centre;
    double radius = 0;
    double a2 = 0, b2 = 0;
    double core = 0;        ///< level inside, in T
    double contrast = 0;    ///< median fall over the rim rays, in T
    double darkest = 0;     ///< median over the rim rays of the lowest T met just outside
    double beyond = 0;      ///< the same of T further out, where plating has ended
    double ring_sigmas = 0; ///< (beyond - darkest) over its noise
    double scatter_px = 0;  ///< rms distance of the rim rays' points from the model
    std::array<RayEnd, rim_rays> ends{};
    [[nodiscard]] int count(RayEnd end) const {
        int n = 0;
        for (const RayEnd e : ends)
            n += e == end;
        return n;
    }
    [[nodiscard]] double share(RayEnd end) const { return static_cast<double>(count(end)) / rim_rays; }
};

/// Where to look, all in pixels and T of the picture given.
struct RimSearch {
    Point guess;
    double radius_guess = 5;
    double noise = 0.01; ///< sigma of one pixel
    double blur_px = 1;
    double least_fall = 0.01; ///< a ray has left the core once T lies this far below it
    double contrast = 0.05;   ///< expected fall: sets how much is smoothed
};

/// Casts rays from the guess, fits the model to the places where T first falls, robustly (parts in front,
/// bites and joined voids are left out), and repeats from the new centre. Nothing when no circle of 0.5 to 2
/// times the guessed radius has at least a quarter of the turn on it.
std::optional<Rim> fit_rim(ImageView<const float> picture, const RimSearch& search);

} // namespace ringwall::holes
