// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

#include "holes/rim_model.hpp"
#include "holes/rim_start.hpp"

#include <string>

namespace ringwall {

/// The two readings of one rim, each fitted, and which one the pixels prefer.
struct RimChoice {
    RimFit bare;
    RimFit plated;
    double wall_z = 0; ///< fitted wall over its own uncertainty: large = plated
    bool is_plated = false;
    bool decided = false; ///< false: neither reading is clearly better
    std::string why;      ///< of not decided; empty: the wall is lost in noise
    RimBelief belief;     ///< of the chosen reading
    double narrow_gap_u_px =
        0; ///< of the chosen radius, k = 1: copper that seems to touch may begin behind a gap
    [[nodiscard]] const RimFit& chosen() const { return is_plated ? plated : bare; }
};

/// Fits both readings from the first look. `levels` gives the laminate's level for narrow rings.
RimChoice choose_rim(ImageView<const float> t, const NoiseModel& noise, const RimStart& start,
                     const RimShared& shared, const MaterialLevels& levels);

/// Distance behind the wall, in sigmas, up to which a rim is fitted.
inline constexpr double rim_band_sigmas = 3.6;

} // namespace ringwall
