// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/screw.hpp"

namespace ringwall::screwfit {

/// How far from a round hole's centre metal can get, mm: worst-case bounds of geometry, no uncertainties.
/// `drill_mm` (D) is the hole's diameter outside of its plating, d the screw's major diameter, d1 its
/// smallest minor one.

/// max(D, d)/2: a screw narrower than the hole leans on its wall, a wider one fills it.
double resting_reach_mm(double drill_mm, const Screw& screw);
/// D/2 + (d - d1)/2 where D > d1: the thread cut into one side until its root bears; else d/2.
double cutting_reach_mm(double drill_mm, const Screw& screw);
/// The screw's axis from the hole's, leaning: (D - d)/2, at least 0.
double axis_off_mm(double drill_mm, const Screw& screw);
/// Head (dk): axis off + dk/2. So it overhangs the hole's edge by (dk - d)/2, whatever D is, while d <= D.
double head_reach_mm(double drill_mm, const Screw& screw, double head_mm);
/// Washer (bore, outer), loose on the screw: axis off + (bore - d)/2 + outer/2.
double washer_reach_mm(double drill_mm, const Screw& screw, double washer_bore_mm, double washer_outer_mm);
/// What a tilt adds over the board's thickness: thickness x tan(tilt).
double tilt_reach_mm(const Screw& screw, double board_mm);
/// As a person said, else the screw cuts when d > the bore it is put into.
Engagement engagement_of(double bore_mm, const Screw& screw);

} // namespace ringwall::screwfit
