// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <Eigen/Core>

#include <cstdint>
#include <vector>

namespace ringwall::rings {

/// One fitted gap of a profile as the bootstrap needs it: its value, how it hangs on the parameters that are
/// common to many rays, and what is its own.
struct GapOfRay {
    double gap_px = 0;
    int ray = 0;
    Eigen::VectorXd slope; ///< d gap / d common parameter; empty: hangs on none
    double u_own_px = 0;   ///< independent noise, correlated with neighbours over `window` rays
    int window = 0;
    bool smooth = false; ///< of a contour whose gaps on neighbouring rays differ by next to nothing
};

struct Smallest {
    double value_px = 0; ///< bias of a minimum taken out
    double u_px = 0;
    double low_px = 0;  ///< (1 - confidence) quantile
    double high_px = 0; ///< confidence quantile
    double bias_px = 0; ///< what was taken out (negative: the raw minimum is too small)
    int ray = 0;        ///< where the raw minimum is
};

/// Parametric bootstrap of the minimum over the rays: draws the common parameters from N(0, covariance) and
/// each ray's own noise, takes the minimum of each drawn profile (Efron & Tibshirani 1993, 10.2). `gaps` not
/// empty.
Smallest smallest_gap(const std::vector<GapOfRay>& gaps, const Eigen::MatrixXd& covariance, double confidence,
                      int draws, std::uint64_t seed);

} // namespace ringwall::rings
