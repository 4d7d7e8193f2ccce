// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/rim.hpp"

#include <optional>

namespace ringwall::holes {

/// Levels of a bore so small that blur mixes core, wall and surround: what they would be without blur.
struct SmallCore {
    double radius = 0;          ///< of the bore, in pixels of the picture given
    double wall_px = 0;         ///< width of the ring next to it
    double core = 0;            ///< T of the bore
    double core_sigma = 0;      ///< its standard uncertainty, radius and width unknown
    double wall = 0;            ///< T of the ring
    double beyond = 0;          ///< T outside the ring
    double ring_sigmas = 0;     ///< (beyond - wall) over its noise, at the fitted widths
    double contrast_sigmas = 0; ///< (core - beyond) over its noise
};

/// Blurred concentric discs fitted to the mean radial profile: T(rho) = core D(rho; r) + wall (D(rho; r + w)
/// - D(rho; r))
/// + beyond (1 - D(rho; r + w)), D the blurred disc; levels by linear least squares, r and w from a grid by
/// chi-square. Uses only directions whose ray ended on the rim. Nothing when these are too few or too near
/// the border.
std::optional<SmallCore> fit_small_core(ImageView<const float> picture, const Rim& rim, double noise,
                                        double blur_px);

/// A disc of radius R and height 1, blurred by a Gaussian of unit sigma, at distance rho from its centre:
/// D = integral 0..R of r exp(-(rho^2 + r^2)/2) I0(rho r) dr (the complement of Marcum's Q function). To
/// 1e-3.
double blurred_disc(double rho, double radius);

} // namespace ringwall::holes
