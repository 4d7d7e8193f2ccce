// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace ringwall::compare {

/// Points sorted into cells, for "who lies near here".
class PointGrid {
  public:
    /// `reach`: the largest distance that will be asked for, over 0.
    PointGrid(std::span<const Point> points, double reach);
    /// Calls use(index, squared distance) for every point within `reach` of the place, in a fixed order.
    template<typename Use>
    void near(Point place, double reach, const Use& use) const {
        const Cells cells = cells_about(place, reach);
        for (int y = cells.first_y; y <= cells.last_y; ++y)
            for (int x = cells.first_x; x <= cells.last_x; ++x) {
                const std::size_t cell = index_of(x, y);
                for (std::size_t i = starts_[cell]; i < starts_[cell + 1]; ++i) {
                    const std::size_t point = order_[i];
                    const double dx = points_[point].x - place.x, dy = points_[point].y - place.y;
                    if (dx * dx + dy * dy <= reach * reach) use(point, dx * dx + dy * dy);
                }
            }
    }

  private:
    struct Cells {
        int first_x, last_x, first_y, last_y;
    };
    [[nodiscard]] Cells cells_about(Point place, double reach) const;
    [[nodiscard]] std::size_t index_of(int x, int y) const {
        return static_cast<std::size_t>(y) * static_cast<std::size_t>(columns_) + static_cast<std::size_t>(x);
    }
    [[nodiscard]] int column_of(double x) const;
    [[nodiscard]] int row_of(double y) const;

    std::vector<Point> points_;
    Point corner_;
    double cell_ = 1;
    int columns_ = 1, rows_ = 1;
    std::vector<std::size_t> starts_, order_;
};

/// Which places lie within about a tolerance of a point, answered from one bit. A place up to half as far
/// again may count as well.
class NearMap {
  public:
    NearMap(std::span<const Point> points, double tolerance);
    [[nodiscard]] bool covers(Point place) const {
        const double x = (place.x - corner_.x) * per_cell_, y = (place.y - corner_.y) * per_cell_;
        if (!(x >= 0 && y >= 0 && x < columns_ && y < rows_)) return false;
        const std::size_t bit =
            static_cast<std::size_t>(y) * static_cast<std::size_t>(columns_) + static_cast<std::size_t>(x);
        return (bits_[bit >> 6] >> (bit & 63) & 1) != 0;
    }
    /// Chance that a place strewn where the points themselves lie is covered: a field of vias counts as a
    /// field.
    [[nodiscard]] double chance() const { return chance_; }

  private:
    void find_chance(std::span<const Point> points);
    Point corner_;
    double per_cell_ = 1;
    int columns_ = 1, rows_ = 1;
    std::vector<std::uint64_t> bits_;
    double chance_ = 0;
};

} // namespace ringwall::compare
