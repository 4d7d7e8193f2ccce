// SPDX-License-Identifier: Apache-2.0
#include "compare/point_grid.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace ringwall::compare {
namespace {

struct Bounds {
    Point low, high;
    [[nodiscard]] double width() const { return high.x - low.x; }
    [[nodiscard]] double height() const { return high.y - low.y; }
};

Bounds bounds_of(std::span<const Point> points) {
    if (points.empty()) return {};
    Bounds bounds{points.front(), points.front()};
    for (const Point& point : points) {
        bounds.low = {std::min(bounds.low.x, point.x), std::min(bounds.low.y, point.y)};
        bounds.high = {std::max(bounds.high.x, point.x), std::max(bounds.high.y, point.y)};
    }
    return bounds;
}

constexpr double most_cells_a_side = 2000;

} // namespace

PointGrid::PointGrid(std::span<const Point> points, double reach) : points_(points.begin(), points.end()) {
    assert(reach > 0);
    const Bounds bounds = bounds_of(points);
    corner_ = bounds.low;
    cell_ = std::max(reach, std::max(bounds.width(), bounds.height()) / most_cells_a_side);
    columns_ = static_cast<int>(bounds.width() / cell_) + 1;
    rows_ = static_cast<int>(bounds.height() / cell_) + 1;
    starts_.assign(static_cast<std::size_t>(columns_) * static_cast<std::size_t>(rows_) + 1, 0);
    const auto cell_of = [&](Point at) { return index_of(column_of(at.x), row_of(at.y)); };
    for (const Point& point : points_)
        ++starts_[cell_of(point) + 1];
    for (std::size_t i = 1; i < starts_.size(); ++i)
        starts_[i] += starts_[i - 1];
    order_.resize(points_.size());
    std::vector<std::size_t> next(starts_.begin(), starts_.end() - 1);
    for (std::size_t i = 0; i < points_.size(); ++i)
        order_[next[cell_of(points_[i])]++] = i;
}

int PointGrid::column_of(double x) const {
    return static_cast<int>(std::clamp((x - corner_.x) / cell_, 0.0, columns_ - 1.0));
}
int PointGrid::row_of(double y) const {
    return static_cast<int>(std::clamp((y - corner_.y) / cell_, 0.0, rows_ - 1.0));
}

PointGrid::Cells PointGrid::cells_about(Point place, double reach) const {
    return {column_of(place.x - reach), column_of(place.x + reach), row_of(place.y - reach),
            row_of(place.y + reach)};
}

NearMap::NearMap(std::span<const Point> points, double tolerance) {
    const Bounds bounds = bounds_of(points);
    const double cell = std::max(tolerance, std::max(bounds.width(), bounds.height()) / most_cells_a_side);
    per_cell_ = 1 / cell;
    corner_ = {bounds.low.x - 2 * cell, bounds.low.y - 2 * cell};
    columns_ = static_cast<int>(bounds.width() / cell) + 5;
    rows_ = static_cast<int>(bounds.height() / cell) + 5;
    const std::size_t cells = static_cast<std::size_t>(columns_) * static_cast<std::size_t>(rows_);
    bits_.assign(cells / 64 + 1, 0);
    for (const Point& point : points) // a cell is set when its centre lies within 1.2 tolerances
        for (int dy = -1; dy <= 1; ++dy)
            for (int dx = -1; dx <= 1; ++dx) {
                const double x = std::floor((point.x - corner_.x) * per_cell_) + dx;
                const double y = std::floor((point.y - corner_.y) * per_cell_) + dy;
                const double off = std::hypot(x + 0.5 - (point.x - corner_.x) * per_cell_,
                                              y + 0.5 - (point.y - corner_.y) * per_cell_);
                if (off > 1.2) continue;
                const auto bit = static_cast<std::size_t>(y) * static_cast<std::size_t>(columns_) +
                                 static_cast<std::size_t>(x);
                bits_[bit >> 6] |= std::uint64_t{1} << (bit & 63);
            }
    find_chance(points);
}

void NearMap::find_chance(std::span<const Point> points) {
    if (points.empty()) return;
    // Shares covered in blocks of a sixteenth of the side, weighed by the points that lie in them.
    constexpr int blocks = 16;
    std::vector<double> count(blocks * blocks, 0);
    const auto block_of = [&](const Point& point) {
        const double x = (point.x - corner_.x) * per_cell_ * blocks / columns_;
        const double y = (point.y - corner_.y) * per_cell_ * blocks / rows_;
        return static_cast<std::size_t>(std::clamp(static_cast<int>(y), 0, blocks - 1) * blocks +
                                        std::clamp(static_cast<int>(x), 0, blocks - 1));
    };
    for (const Point& point : points)
        ++count[block_of(point)];
    const double cells_a_block = static_cast<double>(columns_) * rows_ / (blocks * blocks);
    constexpr double cells_a_point = 4.5; // pi 1.2^2: of those set by one point
    const auto all = static_cast<double>(points.size());
    const double anywhere = all * cells_a_point / (static_cast<double>(columns_) * rows_);
    double sum = 0;
    for (const double here : count) // a point beside the others of its block
        sum += here * std::clamp((here - 1) * cells_a_point / cells_a_block, std::min(anywhere, 1.0), 1.0);
    chance_ = sum / all;
}

} // namespace ringwall::compare
