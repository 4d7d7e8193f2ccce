// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

#include <cstddef>
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
    double thin_ratio = 1; ///< T under half the thinnest foil to T without it, as far as levels tell
    bool wandering =
        false;            ///< a display picture: a tone curve and shading move the levels from place to place
    double fine_step = 0; ///< darkening of laminate that the smoothing of a patch makes plain: 9 sigma
    double copper_below = 0; ///< smoothed T below which there is copper; foils thinner than the first of
                             ///< `copper` show too where noise allows it
    double blur_px = 1, blur_u_px = 0.1;
    NoiseModel noise;    ///< never both terms zero
    std::string why_not; ///< not empty: no ring can be looked for, and why

    [[nodiscard]] double step() const { return laminate - copper.front(); }
    /// Foils for a smoothed T: 0 = laminate or brighter.
    [[nodiscard]] int foils(double t) const {
        if (t > copper_below) return 0;
        int k = 1;
        for (std::size_t i = 1; i < copper.size() && t < 0.5 * (copper[i - 1] + copper[i]); ++i)
            ++k;
        return k;
    }
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
/// `picture` with its levels moved so that laminate is `foot_t`, the level that begins at a bare hole's wall:
/// for pictures whose levels wander. Unmoved when that level is copper's; why_not is set between the two.
RingLevels moved_to_foot(const RingLevels& picture, double foot_t);

RingLevels ring_levels(const TransmissionMap& map, const MaterialMap& materials);

} // namespace ringwall::rings
