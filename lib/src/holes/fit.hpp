// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"
#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"
#include "ringwall/watch.hpp"

#include "holes/barrel_level.hpp"
#include "holes/rim_shared.hpp"

#include <span>

namespace ringwall {

/// What one hole can be told from all others of the picture: blur and the grey level of plating seen end-on.
struct HolePriors {
    RimShared shared;
    RimSharedVariance variance;
    bool blur_known =
        false; ///< from edges of this picture; else the exposure stage's estimate, or 1.2 px assumed
    bool barrel_known =
        false; ///< at least one barrel spoke; else plated holes are fitted with the level as a guess
};

/// Joint Gauss-Newton over blur and barrel level with each hole's own parameters eliminated (one shared level
/// over all barrels: a single hole cannot tell wall thickness from wall level). Uses the automatically found
/// candidates only, so that a person's decision about one hole changes no other hole.
HolePriors learn_priors(const TransmissionMap& map, const MaterialMap& materials,
                        std::span<const HoleCandidate> candidates, const BoardBuild& build, Watch& watch);

/// Everything about one hole but its keep-out: centre, bore, contour, shape, wall. Candidates marked filled
/// or elongated come back with their kind and place only. Depends on the map, the priors and this candidate
/// alone.
Hole fit_hole(const TransmissionMap& map, const MaterialMap& materials, const HolePriors& priors,
              const HoleCandidate& candidate);

} // namespace ringwall
