// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "exposure/blocks.hpp"
#include "exposure/levels.hpp"
#include "exposure/noise.hpp"

#include <vector>

namespace ringwall::exposure {

/// A smooth surface over the picture, without a constant: products of Legendre polynomials up to `order`, in
/// Frame units.
struct Surface {
    int order = 0;
    std::vector<double> weights; ///< one a term
    [[nodiscard]] double at(double x, double y) const;
};

/// ln of the open beam's signal over the picture = open + surface.
struct Background {
    Surface surface;
    double open = 0;
    std::vector<LogLevel> levels; ///< found classes, relative to `open`, brightest (the open beam, 0) first
    double residual = 0;          ///< robust scatter of the flat spots about surface + level, in ln
    double expected = 0;          ///< what the noise alone would give
    double fall = 0;              ///< greatest over least open beam in the picture, minus 1
    bool open_is_narrow = false;  ///< the open beam was seen only in single blocks (bores of some 12 px)
    int spots = 0;                ///< flat spots that carried the fit; 0: none, a constant was taken
};

/// Fits the background of a picture whose dense end is dark. `spots` on a grid of 3 blocks.
///
/// First the surface's slope from differences of flat spots 12 and 36 px apart (the heel's slope whatever the
/// material; steps between materials are outliers), then rounds of: levels as peaks of the flattened log
/// values, and a fit of surface and one offset a level (Tukey). Order 2 first, then 4 where the picture
/// carries it.
Background fit_background(const Blocks& blocks, const FlatSpots& spots, const NoiseLine& noise,
                          int highest_order);

/// Noise of ln(mean) of a flat spot.
double log_sigma(const NoiseLine& noise, double mean, double pixels, double correlation);

} // namespace ringwall::exposure
