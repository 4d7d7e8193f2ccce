// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/decision.hpp"
#include "screwfit/fit_screw.hpp"

#include <optional>

namespace ringwall::screwfit {

/// A ring judged, with the margins behind the finding. Without alternatives, so that they can be made of it.
struct OneRing {
    ScrewFit screw;
    std::optional<Margin> contact, resting,
        cutting; ///< by resting reach, with the spacing, with it by cutting reach
};
OneRing judge_ring(const RingInMm& ring, const Judging& with);

} // namespace ringwall::screwfit
