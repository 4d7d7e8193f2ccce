// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/levels.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/transmission.hpp"

#include <optional>
#include <vector>

namespace ringwall::rings {

/// A part's body in front of the board: plastic or ceramic with straight sides, which takes the same share of
/// the beam whatever lies behind it, and some no more than a copper foil does.
struct Body {
    /// A point of the side and the unit vector across it into the body, picture px, y down.
    struct Side {
        Point at, inward;
    };
    std::vector<Side> sides; ///< those found; where one is not, the body has no end
    double step = 0;         ///< what it takes off ln T

    /// `p` lies in the body or within `margin_px` of it.
    [[nodiscard]] bool covers(Point p, double margin_px) const;
};

/// The body whose side passes within a few px of `near_px` (picture px).
///
/// Follows the straight edge found there both ways and round its right-angled corners, as far as ln T steps
/// by the same amount across it. At least one corner must be found. Darkening and shape may be copper's; what
/// copper cannot do is to go on where there is no board. Nothing when no straight edge is there, or when none
/// of its sides leads from board on over air (a bore, or what lies beyond the board's edge) with its step
/// unchanged.
std::optional<Body> body_at(const TransmissionMap& map, const RingLevels& levels, Point near_px);

} // namespace ringwall::rings
