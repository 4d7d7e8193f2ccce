// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace ringwall {

/// Grey levels and blur that all holes of a picture share.
struct RimShared {
    double sigma_px = 1.0; ///< Gaussian equivalent of optics and pixel area
    double barrel = 0.0;   ///< T through the plating along the whole depth
};

/// How well they are known. The two go together: a wider blur and a lighter barrel look alike.
struct RimSharedVariance {
    double sigma = 0; ///< px^2
    double barrel = 0;
    double both = 0; ///< covariance
};

} // namespace ringwall
