// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

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
    [[nodiscard]] Sample at(double rho_px) const;

  private:
    double first_px_ = 0;
    double step_px_ = 0;
    std::vector<double> value_, slope_, ratio_;
};

} // namespace ringwall
