// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"
#include "ringwall/transmission.hpp"

#include <optional>
#include <vector>

namespace ringwall {

/// First look at a candidate along rays, before any model: where the air ends in each direction and what
/// follows.
struct RimRay {
    double angle_deg = 0;
    bool found = false;    ///< the air ends inside the searched distance, and the core on this side is air
    double radius_px = 0;  ///< half level between the air and what follows
    double deepest = 1;    ///< least T within 3 sigma behind the edge
    double deepest_px = 0; ///< where, from the centre
    double plateau = 1;    ///< T 2.4 to 3.6 sigma behind the deepest point: laminate, pad or copper
};
struct RimStart {
    bool usable = false;
    Point centre_px;
    double radius_px = 0;
    double open = 1; ///< T of the core
    std::vector<RimRay> rays;
};

/// `rays` directions, sampled every half pixel (bilinear), averaged over the arc between neighbouring rays'
/// halves. Where noise reaches half way down, a ray's edge is the most likely place of its first step. The
/// circle through the edges (those near the circle known before, where they are a third of the turn) is
/// geometric with Tukey weights. Not usable: fewer than a quarter of the turn seen.
/// The edge is taken half way down to `behind`; not given: to what most directions show behind it. A hole
/// that cut into copper on one side only has laminate on the other: half way to the copper lies behind it
/// there.
RimStart look_at_rim(ImageView<const float> t, const HoleCandidate& candidate, double sigma_px,
                     double open_level, std::optional<double> behind = std::nullopt);

} // namespace ringwall
