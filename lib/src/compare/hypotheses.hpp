// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "compare/point_grid.hpp"
#include "ringwall/compare.hpp"

#include <vector>

namespace ringwall::compare {

/// What the search works on: places apart from the rest, and how near a partner must lie.
struct Places {
    std::vector<Point> old_px, revised_px;
    double tolerance_px = 2; ///< of the revised picture
    explicit Places(const AlignRequest& request);
};

struct ScaleWindow {
    double low = 0.8, high = 1.25;
};

/// A placement that a pair of holes on a pair of holes makes, and how many old holes then have something
/// near (each counted alone: two may share one partner).
struct Hypothesis {
    Similarity similarity;
    std::size_t count = 0;
};

struct Search {
    std::vector<Hypothesis> best; ///< distinct ones, the most counted first
    /// Natural logarithm of how many placements were open to be found by chance.
    double log_tried = 0;
};

/// Lays pairs of old holes on pairs of revised ones. Which pairs of old holes: long ones and any, in an order
/// fixed by their number alone, as many as find a placement that half as many holes share as the best one
/// with all but 1e-5 of certainty, within a limit of work.
Search search_placements(const AlignRequest& request, const Places& places, const NearMap& map,
                         ScaleWindow window);

} // namespace ringwall::compare
