// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/stackup.hpp"
#include "stackup/step_model.hpp"

#include <array>

namespace ringwall::stackup {

/// What a beam not along the board does to its outside.
struct Smear {
    double outer_px = 0;   ///< across, mean of both faces
    double widened_px = 0; ///< by which the board shows thicker than it is
    double u_px = 0;       ///< of widened_px
    bool foil_known = false;
    /// Of the low-z and the high-z face: by how much its copper shows wider than the inner planes do, smear
    /// counted in; 0 where that may be noise. Copper plated up, or solder mask that the blur hides.
    std::array<double, 2> excess_px{};
};

/// Opaque copper of width w shows w + e, and the board shows thicker by the same e, where the beam passes s
/// across it: e = s (1 - 2 m(p)), p the copper's attenuation over its depth, m(p) how far along the ramp, on
/// which a ray comes to meet all of the copper, the middle of its edge lies. s(z) = |a + b z|: a for a beam
/// tilted against the board, b = depth / source distance for a cone. Without a stated foil the thickest usual
/// one that fits under the lines' width is taken (common practice, no source).
Smear smear_of(const Steps& steps, const Eigen::MatrixXd& covariance, const EdgeOptions& options,
               std::optional<double> axis_across);

/// m(p) = 1/p - e^-p / (1 - e^-p): mean of (T - T_end) / (1 - T_end) over the ramp, T = e^(-p x).
double ramp_mean(double attenuation);

} // namespace ringwall::stackup
