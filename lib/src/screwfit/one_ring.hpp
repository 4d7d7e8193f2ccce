// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/decision.hpp"
#include "screwfit/fit_screw.hpp"

#include <optional>
#include <vector>

namespace ringwall::screwfit {

/// A ring judged, with the margins behind the finding. Without alternatives, so that they can be made of it.
struct OneRing {
    ScrewFit screw;
    std::optional<Margin> contact, resting,
        cutting; ///< by resting reach, with the spacing, with it by cutting reach
};
OneRing judge_ring(const RingInMm& ring, const Judging& with);

/// The rings of all layers of one hole, at least one, each with its place: the worst finding; among equal
/// ones the ring that could not be read, then the least space left. Its thread leads the paths, the other
/// layers' follow. Head, washer and far side may be on either face: they are told against both outer layers,
/// and find no more than what holds whichever face it is.
OneRing judge_rings(const std::vector<RingInMm>& rings, const Judging& with);

} // namespace ringwall::screwfit
