// SPDX-License-Identifier: Apache-2.0
#include "phantom/raster.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::phantom {
namespace {

constexpr int tile = 128;      ///< cells
constexpr int cell_splits = 2; ///< halvings of a cell that several edges cross
constexpr int first_depth_in_cell = 32;

/// Share of a unit square that lies on the inner side of a straight edge: the centre lies `inside` units
/// within the edge, whose normal is (nx, ny). The integral of a trapezium.
double covered_share(double inside, double nx, double ny) {
    const double a = std::max(std::abs(nx), std::abs(ny)), b = std::min(std::abs(nx), std::abs(ny));
    const double s = std::abs(inside);
    double share = 1;
    if (s <= (a - b) / 2)
        share = 0.5 + s / a;
    else if (s < (a + b) / 2)
        share = 1 - ((a + b) / 2 - s) * ((a + b) / 2 - s) / (2 * a * b);
    return inside < 0 ? 1 - share : share;
}

Walker::List steps_in_band(const Scene& scene, double top, double bottom) {
    Walker::List list;
    for (int i = 0; i < static_cast<int>(scene.steps().size()); ++i) {
        const Box& box =
            scene.boxes()[static_cast<std::size_t>(scene.steps()[static_cast<std::size_t>(i)].figure)];
        if (box.top <= bottom && top <= box.bottom) list.push_back({i, true});
    }
    return list;
}

} // namespace

FineRaster::FineRaster(Scene& scene, StackTransmission& transmission, CellGrid grid, int width)
    : walker_(scene, grid), transmission_(transmission), width_(width) {}

void FineRaster::draw(int first, int count, float* rows) {
    first_ = first;
    count_ = count;
    rows_ = rows;
    for (int y = first; y < first + count; y += tile) {
        const CellGrid& grid = walker_.grid();
        const double top = grid.origin_mm.y + (y - 1) * grid.cell_mm;
        const Walker::List band = steps_in_band(walker_.scene(), top, top + (tile + 2) * grid.cell_mm);
        for (int x = 0; x < width_; x += tile)
            walker_.walk(x, y, tile, band, *this);
    }
}

void FineRaster::filled(int x, int y, int size, Stack stack) {
    const float t = transmission_.of(stack);
    const int bottom = std::min(y + size, first_ + count_);
    const int cells = std::min(size, width_ - x);
    for (; y < bottom && cells > 0; ++y)
        std::fill_n(rows_ + static_cast<std::ptrdiff_t>(y - first_) * width_ + x, cells, t);
}

void FineRaster::edge(int x, int y, const Walker::List& list) {
    if (x >= width_ || y >= first_ + count_) return;
    const double t = cell_mean(walker_.centre_mm(x, y, 1), walker_.grid().cell_mm, list, 0);
    rows_[static_cast<std::ptrdiff_t>(y - first_) * width_ + x] = static_cast<float>(t);
}

double FineRaster::cell_mean(Point centre, double side, const Walker::List& list, int depth) {
    const int figure = walker_.open_figure(list);
    if (figure == -1) return transmission_.of(walker_.stack(list, false));
    if (figure >= 0) return straight_edge_mean(centre, side, list, figure);
    if (depth == cell_splits) return transmission_.of(walker_.stack_at(list, centre));
    double sum = 0;
    for (int quarter = 0; quarter < 4; ++quarter) {
        const Point middle{centre.x + ((quarter & 1) - 0.5) * side / 2,
                           centre.y + ((quarter >> 1) - 0.5) * side / 2};
        Walker::List& inner = walker_.scratch(first_depth_in_cell + depth);
        walker_.narrow(middle, side / 4, list, inner);
        sum += cell_mean(middle, side / 2, inner, depth + 1);
    }
    return sum / 4;
}

double FineRaster::straight_edge_mean(Point centre, double side, const Walker::List& list, int figure) {
    const Figure& f = walker_.scene().figures()[static_cast<std::size_t>(figure)];
    const double step = side * 1e-3;
    const double gx =
        signed_distance(f, {centre.x + step, centre.y}) - signed_distance(f, {centre.x - step, centre.y});
    const double gy =
        signed_distance(f, {centre.x, centre.y + step}) - signed_distance(f, {centre.x, centre.y - step});
    const double slope = std::sqrt(gx * gx + gy * gy);
    const double d = signed_distance(f, centre);
    if (slope == 0) return transmission_.of(walker_.stack_at(list, centre));
    const double inside =
        -d * (2 * step / slope) / side; // the bound of a swung disk understates d: divide by its slope
    const double share = covered_share(inside, gx / slope, gy / slope);
    return share * transmission_.of(walker_.stack(list, true)) +
           (1 - share) * transmission_.of(walker_.stack(list, false));
}

} // namespace ringwall::phantom
