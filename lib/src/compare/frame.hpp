// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/compare.hpp"

#include <optional>

namespace ringwall::compare {

/// A picture's pixels made square: px times the direction's factor. 1 and 1 without a scale.
struct Squared {
    double x = 1, y = 1;
    explicit Squared(const BoardRecord& board);
    [[nodiscard]] Point operator()(Point px) const { return {px.x * x, px.y * y}; }
    [[nodiscard]] Point back(Point squared) const { return {squared.x / x, squared.y / y}; }
};

/// The first source's pixel in mm; missing without.
Estimate pixel_mm(const BoardRecord& board);
double relative_u(const Estimate& estimate);

/// Where an aligned comparison's two boards lie on each other.
class Frame {
  public:
    Frame(const BoardRecord& old_board, const BoardRecord& revised_board, const HoleAlignment& alignment);

    [[nodiscard]] Point revised_px(Point old_px) const;
    [[nodiscard]] Point old_px(Point revised_px) const;
    [[nodiscard]] double scale() const; ///< revised px per old px, squared pixels
    [[nodiscard]] std::array<std::array<double, 3>, 2> matrix() const;
    /// Distance of a pair from where the alignment puts it, revised px (squared), with u a coordinate.
    [[nodiscard]] Estimate off_px(const HoleRecord& old_hole, const HoleRecord& revised_hole) const;

  private:
    Squared old_squared_, revised_squared_;
    PlacedFit fit_;
};

/// What align_holes is asked about two records: their first sources' holes, with the places of those holes in
/// the records.
struct AlignTask {
    AlignRequest request;
    std::vector<std::size_t> old_holes, revised_holes;
};
/// Throws Error(usage) for an id of `options` that the board does not have.
AlignTask align_task(const BoardRecord& old_board, const BoardRecord& revised_board,
                     const CompareOptions& options);

} // namespace ringwall::compare
