// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <vector>

namespace ringwall::phantom {

/// How the fine cells of a line add up to one pixel: the Gaussian of the optics over the pixel's own width,
/// integrated over each cell. Cut at 5 sigma: the share left out is below 1e-6.
struct Kernel {
    int reach_px; ///< pixels to either side
    std::vector<float> weights;
};

/// For a Gaussian of sigma_px and `cells` cells a pixel.
Kernel pixel_kernel(double sigma_px, int cells);

} // namespace ringwall::phantom
