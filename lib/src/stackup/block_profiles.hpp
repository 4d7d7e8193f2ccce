// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/flat_stack.hpp"

#include <span>
#include <vector>

namespace ringwall {

/// Mean of each block of columns in each slice: the volume small enough to be held.
class BlockProfiles {
  public:
    static constexpr int side_px = 16;
    BlockProfiles(int columns, int rows, int slices)
        : columns_(columns), rows_(rows), slices_(slices),
          values_(static_cast<std::size_t>(columns) * static_cast<std::size_t>(rows) *
                  static_cast<std::size_t>(slices)) {}
    [[nodiscard]] int count() const { return columns_ * rows_; }
    [[nodiscard]] int columns() const { return columns_; }
    [[nodiscard]] int rows() const { return rows_; }
    [[nodiscard]] int slices() const { return slices_; }
    /// Values over z of one block.
    [[nodiscard]] std::span<const float> of(int block) const {
        return {values_.data() + first(block), depth()};
    }
    [[nodiscard]] std::span<float> of(int block) { return {values_.data() + first(block), depth()}; }
    [[nodiscard]] Point centre_px(int block) const {
        const int column = block % columns_, row = block / columns_;
        return {(column + 0.5) * side_px - 0.5, (row + 0.5) * side_px - 0.5};
    }

  private:
    [[nodiscard]] std::size_t depth() const { return static_cast<std::size_t>(slices_); }
    [[nodiscard]] std::size_t first(int block) const { return static_cast<std::size_t>(block) * depth(); }
    int columns_, rows_, slices_;
    std::vector<float> values_;
};

/// Reads the volume once. Columns beyond the last whole block are left out. Throws Cancelled,
/// Error(nothing_measured) for a volume smaller than 4 x 4 blocks or 8 slices.
BlockProfiles block_profiles(const Volume& volume, Watch& watch);

} // namespace ringwall
