// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

#include <string>
#include <vector>

namespace ringwall::rings {

/// What the ring search expects round one hole, in T.
struct RingLevels {
    double open = 1;
    double laminate = 0;
    std::vector<double> copper;                               ///< [k-1]: k foils; falling
    double open_u = 0.01, laminate_u = 0.01, copper_u = 0.01; ///< as priors of a local fit
    double dense_below = 0;                                   ///< darker than this is no copper foil
    double fine_step = 0;    ///< darkening of laminate that the smoothing of a patch makes plain: 9 sigma
    double copper_below = 0; ///< smoothed T below which there is copper; foils thinner than the first of
                             ///< `copper` show too where noise allows it
    double blur_px = 1, blur_u_px = 0.1;
    NoiseModel noise;    ///< never both terms zero
    std::string why_not; ///< not empty: no ring can be looked for, and why

    [[nodiscard]] double step() const { return laminate - copper.front(); }
    /// Foils for a smoothed T: 0 = laminate or brighter.
    [[nodiscard]] int foils(double t) const;
};

/// A smoothed sample of a neighbourhood: T and whether its own neighbours are the same within noise.
struct FlatValue {
    float t;
    bool flat;
};
/// The levels of one neighbourhood in place of the picture's: planes of different foils, or one foil where
/// the rest of the picture has two. `smooth_sigma`: noise of a value. `land_t`: level of a plated hole's
/// land, 0: none; it may hold more foils than any plane.
RingLevels local_levels(const RingLevels& picture, const std::vector<FlatValue>& values, double smooth_sigma,
                        double land_t);

RingLevels ring_levels(const TransmissionMap& map, const MaterialMap& materials);

} // namespace ringwall::rings
