// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"
#include "ringwall/radiograph.hpp"
#include "ringwall/watch.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace ringwall {

/// Noise of one pixel of a transmission map as a function of T: var T = T / photons + readout^2. No variance
/// image is kept.
struct NoiseModel {
    double photons =
        0; ///< equivalent photons a pixel in the open beam; 0: noise could not be told (flat 8-bit picture)
    double readout = 0; ///< in units of T
    /// Neighbour correlation is carried as a factor on sums: variance of a mean of n adjacent pixels is
    /// correlation * var / n. 1 for independent pixels, above 1 after sharpening or smoothing in the cabinet.
    double correlation = 1;
    [[nodiscard]] double sigma(double t) const {
        const double poisson = photons > 0 ? std::max(t, 0.0) / photons : 0.0;
        return std::sqrt(poisson + readout * readout);
    }
};

/// A radiograph as transmission: open beam 1, dense material towards 0, whatever way round the file was.
///
/// `t_is_physical` is true only for a picture known to be linear (or log with a known factor): then T may be
/// turned into thickness. Otherwise T is only "brightness over background": edges may be fitted in it, with a
/// term for the unknown curve; thickness, foil counts and p may not be given.
struct TransmissionMap {
    Image<float> t;
    Radiometry radiometry = Radiometry::unknown;
    bool t_is_physical = false;
    DenseSide dense = DenseSide::dark; ///< as found or given; never `automatic`
    bool dense_given = false;
    bool dense_doubted =
        false; ///< given, but the picture clearly looks the other way round; a warning says so
    NoiseModel noise;
    Estimate blur_sigma_px; ///< Gaussian equivalent of optics and pixel area together (s_e of methods 3)
    double saturated_fraction = 0; ///< share of pixels at the bright end of the stored scale
    double clipped_fraction = 0;   ///< share of pixels at the dark end
    double halo = 0; ///< overshoot at edges as a share of the step; above 0.05 beyond 3 sigma: sharpened
    std::vector<std::string> warnings; ///< for the reader, each a whole sentence without the full stop
};

struct ExposureOptions {
    DenseSide dense = DenseSide::automatic;
    Radiometry radiometry = Radiometry::unknown; ///< unknown: take what the file states
    const Radiograph* flat = nullptr;            ///< open beam, same size; not owned
    const Radiograph* dark = nullptr;            ///< no beam, same size; not owned
};

/// T = (I - dark) / (flat - dark), or without a flat I over a background fitted to the picture itself: a
/// low-order polynomial in log intensity (order <= 4) with one offset a material class, robust (Tukey), so
/// that copper planes are not eaten (methods.md 2, Exposure). Takes the picture and gives its memory back.
/// Throws Error(input): flat or dark of another size, no beam anywhere (flat <= dark).
/// Error(nothing_measured): all one value.
TransmissionMap to_transmission(Radiograph picture, const ExposureOptions& options, Watch& watch);

} // namespace ringwall
