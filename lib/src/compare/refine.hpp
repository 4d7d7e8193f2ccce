// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "compare/hypotheses.hpp"
#include "compare/point_grid.hpp"
#include "compare/similarity.hpp"

#include <optional>
#include <vector>

namespace ringwall::compare {

/// A placement with its one-to-one partners.
struct Placement {
    PlacedFit fit;
    std::vector<AlignPair> pairs; ///< by old hole
    double score = 0;             ///< sum of the pairs' weights, see Refiner::weight_of
};

class Refiner {
  public:
    Refiner(const AlignRequest& request, const Places& places);

    /// Partners under a similarity: the nearest ones first, each hole once, none further than `reach_px`
    /// (at most 3 tolerances).
    [[nodiscard]] std::vector<AlignPair> partners(const Similarity& similarity, double reach_px) const;
    /// Partners and fit in turns until they stay; nothing with fewer than two pairs. `fixed`: pairs that are
    /// kept whatever lies nearer.
    [[nodiscard]] std::optional<Placement> refined(const Similarity& start,
                                                   const std::vector<AlignPair>& fixed = {}) const;
    /// The last fit: Tukey's weights with residuals against their u, so that holes moved by little do not
    /// pull. Sets stretch.
    void settle(Placement& placement) const;
    /// Of a pair under a fit: squared distance over its variance a coordinate (2 degrees of freedom), stretch
    /// included.
    [[nodiscard]] double squared_residual(const PlacedFit& fit, const AlignPair& pair) const;
    [[nodiscard]] double distance_px(const Similarity& similarity, const AlignPair& pair) const;
    /// The placement's score over what it could be: the weights of the holes of one board that come to lie
    /// among the holes of the other, the smaller sum of both directions.
    [[nodiscard]] double share(const Placement& placement) const;

    /// How much a pair says for a placement: by how well the bores agree (0.6 to 1), and less where the hole
    /// stands in a row or field, which fits as well when slipped by a pitch.
    [[nodiscard]] double weight_of(const AlignPair& pair, double scale) const;

  private:
    [[nodiscard]] WeightedPair weighted(const AlignPair& pair, double scale) const;
    [[nodiscard]] double variance(const AlignPair& pair, double scale) const;
    [[nodiscard]] std::optional<PlacedFit> fit_of(const std::vector<AlignPair>& pairs,
                                                  const Similarity& start) const;
    const AlignRequest& request_;
    const Places& places_;
    PointGrid grid_;
    std::vector<double> old_says_, revised_says_; ///< 1; less in rows and fields
};

/// What a hole in a row or field says for a placement, against 1 of one that stands alone.
inline constexpr double says_in_row = 0.15;

/// Residuals beyond this many standard deviations mean that a hole moved (chi-squared with 2 degrees of
/// freedom: 1 in 1000).
inline constexpr double moved_squared_residual = 13.8155;

} // namespace ringwall::compare
