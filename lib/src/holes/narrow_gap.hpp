// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/rim_model.hpp"

namespace ringwall {

/// Copper up to a bare wall, and a gap too narrow to show with a smaller bore in it, look much alike. Radii
/// with gaps that stand still are weighed by their chi-square, touching as likely beforehand as all gaps up
/// to a sigma of the blur together. Returns how far off, px at k = 1, that leaves the radius of `fitted`; 0
/// where no ring that may touch goes round most of the hole.
double narrow_gap_u(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                    const RimFit& fitted, const RimBelief& belief);

} // namespace ringwall
