// SPDX-License-Identifier: Apache-2.0
#include "bridge/parallel.hpp"
#include "phantom/edge_column.hpp"
#include "phantom/pixel_kernel.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

/// Turns picture coordinates, mm from the picture's middle, into the board's: along it and across.
struct Frame {
    double cosine, sine;
    Point shift;
    Frame(const EdgeShot& shot)
        : cosine(std::cos(shot.rotation_deg * std::numbers::pi / 180)),
          sine(std::sin(shot.rotation_deg * std::numbers::pi / 180)), shift(shot.shift_mm) {}
    [[nodiscard]] Point board_from_picture(Point p) const {
        const double dx = p.x - shift.x, dy = p.y - shift.y;
        return {dx * cosine - dy * sine, dx * sine + dy * cosine};
    }
    [[nodiscard]] Point picture_from_board(Point p) const {
        return {p.x * cosine + p.y * sine + shift.x, p.y * cosine - p.x * sine + shift.y};
    }
};

PictureSize size_of(const EdgeShot& shot, const Exposure& exposure) {
    Board field;
    field.width_mm = shot.width_mm, field.height_mm = shot.height_mm;
    return picture_size(field, exposure);
}

/// Mean transmission over cells along a column, refined where it jumps.
class CellMeans {
  public:
    explicit CellMeans(const EdgeColumn& column) : column_(column) {}
    void over(double first_mm, double cell_mm, std::vector<float>& means) const {
        double left = column_.transmission(first_mm);
        for (std::size_t i = 0; i < means.size(); ++i) {
            const double from = first_mm + static_cast<double>(i) * cell_mm, to = from + cell_mm;
            const double right = column_.transmission(to);
            means[i] = static_cast<float>(mean(from, to, left, right, 0));
            left = right;
        }
    }

  private:
    [[nodiscard]] double mean(double from, double to, double left, double right, int depth) const {
        constexpr double even = 1e-5;
        constexpr int deepest = 8;
        const double at = (from + to) / 2, middle = column_.transmission(at);
        if (depth == deepest || std::abs(middle - left) + std::abs(middle - right) < even)
            return (left + 4 * middle + right) / 6;
        return (mean(from, at, left, middle, depth + 1) + mean(at, to, middle, right, depth + 1)) / 2;
    }
    const EdgeColumn& column_;
};

/// Blurred transmission on the corners of cells aligned with the board; open beam beyond.
class FineMap {
  public:
    FineMap(const Board& board, const EdgeShot& shot, const Exposure& exposure, Point low, Point high)
        : cells_(exposure.samples + exposure.samples % 2), cell_mm_(exposure.pixel_mm / cells_),
          kernel_(pixel_kernel(exposure.blur_sigma_px, cells_)), low_(low),
          corners_(static_cast<int>(std::ceil((high.x - low.x) / cell_mm_)) + 1,
                   static_cast<int>(std::ceil((high.y - low.y) / cell_mm_)) + 1) {
        const int taps = static_cast<int>(kernel_.weights.size()), half = taps / 2;
        const Image<float> across = draw_columns(board, shot, exposure.beam, half);
        bridge::over_rows(corners_.height(), [&](int first, int last) {
            for (int y = first; y < last; ++y)
                for (int x = 0; x < corners_.width(); ++x)
                    corners_(x, y) = weighed(across.view().row(y) + x);
        });
    }
    /// Cubic (Catmull and Rom) between corners: the map is smooth over four cells and more.
    [[nodiscard]] double at(Point p) const {
        const double x = (p.x - low_.x) / cell_mm_, y = (p.y - low_.y) / cell_mm_;
        const int i = std::clamp(static_cast<int>(std::floor(x)), 1, corners_.width() - 3);
        const int j = std::clamp(static_cast<int>(std::floor(y)), 1, corners_.height() - 3);
        const auto wx = cubic(x - i), wy = cubic(y - j);
        double sum = 0;
        for (int b = 0; b < 4; ++b) {
            const float* row = corners_.view().row(j - 1 + b) + i - 1;
            sum += wy[static_cast<std::size_t>(b)] *
                   (wx[0] * row[0] + wx[1] * row[1] + wx[2] * row[2] + wx[3] * row[3]);
        }
        return sum;
    }

  private:
    static std::array<double, 4> cubic(double t) {
        const double u = 1 - t;
        return {-0.5 * t * u * u, 1 + t * t * (1.5 * t - 2.5), 1 + u * u * (1.5 * u - 2.5), -0.5 * u * t * t};
    }
    [[nodiscard]] float weighed(const float* from) const {
        float sum = 0;
        for (std::size_t k = 0; k < kernel_.weights.size(); ++k)
            sum += kernel_.weights[k] * from[k];
        return sum;
    }
    /// Columns of cells, blurred across the board, as rows of the picture made.
    Image<float> draw_columns(const Board& board, const EdgeShot& shot, const Beam& beam, int half) const {
        Image<float> across(corners_.width() + 2 * half, corners_.height());
        bridge::over_rows(across.width(), [&](int first, int last) {
            EdgeColumn column(board, shot, beam);
            std::vector<float> means(static_cast<std::size_t>(corners_.height() + 2 * half));
            std::vector<float> blurred(static_cast<std::size_t>(corners_.height()));
            for (int x = first; x < last; ++x) {
                const bool changed = column.take(low_.x + (x - half + 0.5) * cell_mm_);
                if (changed || x == first) {
                    CellMeans(column).over(low_.y - half * cell_mm_, cell_mm_, means);
                    for (std::size_t y = 0; y < blurred.size(); ++y)
                        blurred[y] = weighed(means.data() + y);
                }
                for (std::size_t y = 0; y < blurred.size(); ++y)
                    across(x, static_cast<int>(y)) = blurred[y];
            }
        });
        return across;
    }

    int cells_;
    double cell_mm_;
    Kernel kernel_;
    Point low_;
    Image<float> corners_;
};

} // namespace

Image<float> draw_edge_on(const Board& board, const EdgeShot& shot, const Exposure& exposure) {
    const auto [width, height] = size_of(shot, exposure);
    const Frame frame(shot);
    const double pixel = exposure.pixel_mm;
    const auto board_at = [&, w = width, h = height](double x, double y) {
        return frame.board_from_picture({(x - (w - 1) / 2.0) * pixel, (y - (h - 1) / 2.0) * pixel});
    };
    Point low{1e9, 1e9}, high{-1e9, -1e9};
    for (const Point corner :
         {Point{0, 0}, {width - 1.0, 0}, {0, height - 1.0}, {width - 1.0, height - 1.0}}) {
        const Point at = board_at(corner.x, corner.y);
        low = {std::min(low.x, at.x - pixel), std::min(low.y, at.y - pixel)};
        high = {std::max(high.x, at.x + pixel), std::max(high.y, at.y + pixel)};
    }
    const FineMap map(board, shot, exposure, low, high);
    Image<float> picture(width, height);
    bridge::over_rows(height, [&, w = width](int first, int last) {
        for (int y = first; y < last; ++y)
            for (int x = 0; x < w; ++x)
                picture(x, y) = static_cast<float>(map.at(board_at(x, y)));
    });
    return picture;
}

Point edge_point_px(const Board& board, const EdgeShot& shot, const Exposure& exposure, double x_mm,
                    double z_mm) {
    const auto [width, height] = size_of(shot, exposure);
    const Point at =
        Frame(shot).picture_from_board({x_mm - board.width_mm / 2, z_mm - board.thickness_mm / 2});
    return {at.x / exposure.pixel_mm + (width - 1) / 2.0, at.y / exposure.pixel_mm + (height - 1) / 2.0};
}

} // namespace ringwall::phantom
