// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/screwfit.hpp"
#include "screwfit/ring_in_mm.hpp"

#include <optional>
#include <vector>

namespace ringwall::screwfit {

/// Space left between metal and copper, or between metal plus required spacing and copper, mm, with both
/// one-sided quantiles at the confidence P.
struct Margin {
    Estimate value;
    double low_mm = 0, high_mm = 0; ///< (1 - P) and P quantiles; meaningful with a value
    std::vector<Component> parts;
};

/// Copper begins `from_wall_mm` outside of the wall; metal ends `metal_mm` outside of it (both may be 0;
/// metal inside the wall counts as 0 by the caller). `scaled_mm`: the part of the margin that was measured in
/// the picture and grows with its scale.
///
/// Uncertainty (GUM 5.1.2, components independent but for the scale, which is common to bore, ring and drill
/// and therefore enters once, through the whole scaled length): the fit's, the scale's, the height of a plane
/// of unknown depth (T/2 over the source's distance, rectangular: magnification of the scaled length, and the
/// shift of a hole off the central ray). The lower quantile takes the fit's from its bootstrap, where a
/// smallest gap is skew.
Margin margin_of(const RingInMm& ring, double value_mm, double scaled_mm, double z);

/// What two margins say (design: section on findings). `resting`, `deciding`: margins with the required
/// spacing, by resting reach and by the reach that the engagement asks for; missing without a rule. Never
/// gap_shown when `gap_forbidden`.
Finding decide(const Margin& contact, const std::optional<Margin>& resting,
               const std::optional<Margin>& deciding, bool gap_forbidden);

/// The worse of two: reaches, too_close, undecided, gap_shown.
Finding worse(Finding a, Finding b);

} // namespace ringwall::screwfit
