// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/compare.hpp"

#include <optional>
#include <span>

namespace ringwall::compare {

struct WeightedPair {
    Point old_px, revised_px;
    double weight = 1; ///< 1/u^2 in revised px, each coordinate
};

/// Least squares over all pairs, mirrored or not as told. Nothing when the old places coincide.
std::optional<PlacedFit> fit_similarity(std::span<const WeightedPair> pairs, bool mirrored);

/// The one that carries two old points onto two revised ones. Old points must differ.
Similarity similarity_through(Point old_a, Point old_b, Point revised_a, Point revised_b, bool mirrored);

double scale_of(const Similarity& similarity);
/// The old place that the similarity carries to a revised one; its scale must not be 0.
Point inverse(const Similarity& similarity, Point revised);
inline double square(double value) {
    return value * value;
}
inline double distance2(Point a, Point b) {
    return square(a.x - b.x) + square(a.y - b.y);
}

} // namespace ringwall::compare
