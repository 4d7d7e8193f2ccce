// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/rim_model.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

namespace ringwall {

/// Share of the beam that passes whatever lies evenly in front of the whole bore (a part's body): the core's
/// level over the open beam's. 1 where the core is air, or uneven beyond noise (a part in front of some of
/// it).
///
/// Model: attenuations add, so every level of the neighbourhood is lower by the same factor; that the body
/// also takes the soft end of the beam is left out (common practice, no source: bodies let most of the beam
/// through).
double cover_of(const TransmissionMap& map, const HoleCandidate& candidate, double sigma_px, double open);

/// The levels behind something of that share.
MaterialLevels seen_through(const MaterialLevels& levels, double cover);
RimShared seen_through(const RimShared& shared, double cover);

} // namespace ringwall
