// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>

namespace ringwall {

/// A uniform disk of radius R, height 1, blurred by a Gaussian of sigma s, along its radius (px).
///
/// value D(rho) = 1 - Q1(rho/s, R/s) (Marcum's Q). Both derivatives are closed forms,
///   dD/drho = -(R/s^2) exp(-(rho-R)^2/2s^2) I1e(rho R/s^2),  dD/dR = the same with +I0e,
/// so D is had by integrating the first from far outside. Exact for any R/s: no curvature correction is
/// needed where this model is fitted. Tabulated (step s/8) with cubic Hermite between: error below 1e-6.
/// `sigma` is optics and pixel area together; the pixel's square shape is kept (to the fourth cumulant, mean
/// over the turn).
class DiskProfile {
  public:
    DiskProfile(double radius_px, double sigma_px);
    struct Sample {
        double value;    ///< D
        double d_rho;    ///< dD/drho
        double d_radius; ///< dD/dR
    };
    [[nodiscard]] Sample at(double rho_px) const {
        const double position = std::clamp((rho_px - first_px_) * per_px_ + 1, 0.0, last_);
        const auto i = static_cast<int>(position);
        const double f = position - i;
        const Cell& c = cells_[static_cast<std::size_t>(i)];
        const double value = ((c.cubic * f + c.square) * f + c.linear) * f + c.value;
        const double slope = ((3 * c.cubic * f + 2 * c.square) * f + c.linear) * per_px_;
        return {value, slope, -slope * (c.ratio + f * c.ratio_rise)};
    }

  private:
    /// Powers of the share of the cell; the first cell stands for all before the table, the last for all
    /// behind it.
    struct Cell {
        double value = 0, linear = 0, square = 0, cubic = 0;
        double ratio = 0, ratio_rise = 0; ///< -dD/dR over dD/drho
    };
    static constexpr int reach_sigmas = 6; ///< D differs from 0 or 1 by less than 1e-9 beyond
    static constexpr int steps_per_sigma = 8;
    static constexpr std::size_t most_nodes = 2 * reach_sigmas * steps_per_sigma + 2;

    double first_px_ = 0;
    double per_px_ = 1;
    double last_ = 0;
    std::array<Cell, most_nodes + 1> cells_;
};

} // namespace ringwall
