// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/pyramid.hpp"

#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

namespace ringwall::holes {

/// What the search must know of a picture's grey values, in T.
struct GreyScale {
    double open = 1;        ///< level of the void
    double tolerance = 0.1; ///< a core may lie this far below `open` and still be air
    double board = 0.8;  ///< bare laminate, where it could be told; else below `open` by twice the tolerance
    double foil = 0;     ///< attenuation -ln T of one foil on it; 0: not known
    double noise = 0.01; ///< sigma of one pixel near the void level, as if pixels were independent; > 0
    /// Grey values may be tone-mapped, sharpened or saturated: what is as bright as air need not be air.
    bool doubtful = false;
    double blur_px = 1; ///< Gaussian equivalent of optics and pixel
};

/// Reads void, laminate, noise and blur off the map and its pyramid (and the material levels where they were
/// told apart).
///
/// `open` is the mode of the brightest populated part of the picture near 1, so that a background a few per
/// cent off or a tone curve that ends below the top of the scale does no harm. `tolerance` is half the step
/// from void to laminate: common practice for a two-level decision, no source; held to 0.02 ... 0.1.
GreyScale read_grey_scale(const TransmissionMap& map, const Pyramid& pyramid, const MaterialMap* materials);

} // namespace ringwall::holes
