// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <span>

namespace ringwall {

struct CircleFit {
    bool ok = false; ///< false: fewer than three points with weight, or all on a line
    Point centre;
    double radius = 0;
    double rms = 0; ///< of the distances, weighted
};

/// Circle that minimises the weighted sum of squared distances (geometric fit; Gander, Golub & Strebel, BIT
/// 34 (1994) 558), Gauss-Newton from the algebraic fit of Taubin (1991, doi 10.1109/34.103273). Weights >= 0;
/// empty: all 1.
CircleFit fit_circle(std::span<const Point> points, std::span<const double> weights = {});

/// The same with Tukey's weights (cut-off 4.685 robust standard deviations), ten rounds: for points of which
/// up to a quarter, spread over the turn, or a sixth in one run do not belong to the circle (tests/core).
/// `weights` multiply Tukey's.
CircleFit fit_circle_robust(std::span<const Point> points, std::span<const double> weights = {});

} // namespace ringwall
