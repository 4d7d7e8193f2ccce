// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"

#include "holes/contour.hpp"
#include "holes/redraw.hpp"
#include "holes/rim_choice.hpp"

namespace ringwall {

/// Fills contour, shape, roundness, furthest void, inscribed diameter and seen share from the traced bins.
/// `floor_px`: radial scatter that the model itself leaves (pixel phase, unknown grey curve), added to every
/// bin's u.
void judge_shape(const std::vector<RimBin>& bins, const RimTracing& tracing, double floor_px, Hole& hole);

/// Fills the wall: state, covered share, missing arcs. `halo_can_fake`: the picture is sharpened, so that a
/// dark rim proves nothing.
void judge_wall(const std::vector<RimBin>& bins, const RimChoice& choice, bool halo_can_fake, Hole& hole);

} // namespace ringwall
