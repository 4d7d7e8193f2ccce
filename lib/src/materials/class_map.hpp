// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/materials.hpp"

namespace ringwall::materials {

/// Every pixel's class by the 50 % levels between neighbouring classes.
///
/// Where one level of noise would cross half a step too often, void and dense are decided on a lightly
/// smoothed picture, and foils on one smoothed more, but only over pixels that are board: no void leaks in.
/// Worked in tiles, in parallel; no tile sees another's result.
Image<std::uint8_t> make_class_map(const TransmissionMap& map, const MaterialLevels& levels,
                                   double dense_below_t, Watch& watch);

/// Gaussian width (px) that brings noise `sigma` down to a fifth of `step`: half a step is then 2.5 sigma.
double smoothing_for(double sigma, double step);

} // namespace ringwall::materials
