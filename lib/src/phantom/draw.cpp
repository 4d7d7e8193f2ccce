// SPDX-License-Identifier: Apache-2.0
#include "phantom/pixel_kernel.hpp"
#include "phantom/raster.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::phantom {
namespace {

/// Fine rows that slide downwards with the picture row being made.
class RowWindow {
  public:
    RowWindow(FineRaster& raster, int rows_in_use)
        : raster_(raster), capacity_(rows_in_use + band),
          rows_(static_cast<std::size_t>(capacity_) * raster.width()) {}
    /// The rows from `first` on, as many as are in use.
    const float* rows_from(int first, int count) {
        const std::size_t width = raster_.width();
        if (first + count > end_) {
            const int kept = std::max(0, end_ - first);
            std::move(rows_.begin() + (end_ - kept - begin_) * width, rows_.begin() + (end_ - begin_) * width,
                      rows_.begin());
            begin_ = end_ - kept;
            for (; end_ < first + count; end_ += band)
                raster_.draw(end_, band, rows_.data() + (end_ - begin_) * width);
        }
        return rows_.data() + (first - begin_) * width;
    }

  private:
    static constexpr int band = 128;
    FineRaster& raster_;
    int capacity_;
    std::vector<float> rows_;
    int begin_ = 0, end_ = 0;
};

void sum_rows(const float* rows, std::size_t width, const std::vector<float>& weights,
              std::vector<float>& sum) {
    constexpr std::size_t block = 2048; // stays in the first cache
    for (std::size_t x0 = 0; x0 < width; x0 += block) {
        const std::size_t n = std::min(block, width - x0);
        float* out = sum.data() + x0;
        std::fill_n(out, n, 0.0F);
        for (std::size_t k = 0; k < weights.size(); ++k) {
            const float w = weights[k];
            const float* row = rows + k * width + x0;
            for (std::size_t x = 0; x < n; ++x)
                out[x] += w * row[x];
        }
    }
}

/// One picture row from the summed fine line: cells sorted by their place in the pixel, so that each tap runs
/// along memory.
void sum_along(const std::vector<float>& line, const Kernel& kernel, int cells, std::vector<float>& sorted,
               float* out, int width) {
    const std::size_t pixels = line.size() / cells;
    for (std::size_t x = 0; x < pixels; ++x)
        for (int c = 0; c < cells; ++c)
            sorted[c * pixels + x] = line[x * cells + c];
    std::fill_n(out, width, 0.0F);
    for (std::size_t k = 0; k < kernel.weights.size(); ++k) {
        const float w = kernel.weights[k];
        const float* from = sorted.data() + (k % cells) * pixels + k / cells;
        for (int x = 0; x < width; ++x)
            out[x] += w * from[x];
    }
}

} // namespace

PictureSize picture_size(const Board& board, const Exposure& exposure) {
    const double width = std::round(board.width_mm / exposure.pixel_mm),
                 height = std::round(board.height_mm / exposure.pixel_mm);
    if (!(exposure.pixel_mm > 0) || !(width >= 1) || !(height >= 1) || width * height > 0x1p31 ||
        exposure.samples < 1 || exposure.samples > 32 ||
        !(exposure.blur_sigma_px >= 0 && exposure.blur_sigma_px < 100))
        throw Error(
            Fault::usage,
            "phantom: expected a picture of 1 to 2^31 pixels, 1 to 32 samples and a blur of 0 to 100 px");
    return {static_cast<int>(width), static_cast<int>(height)};
}

Image<float> draw_transmission(const Board& board, const Exposure& exposure) {
    const auto [width, height] = picture_size(board, exposure);
    const int cells = exposure.samples;
    const Kernel kernel = pixel_kernel(exposure.blur_sigma_px, cells);
    const int taps = static_cast<int>(kernel.weights.size());
    Scene scene(board);
    StackTransmission transmission(board, scene, exposure.beam);
    const double cell_mm = exposure.pixel_mm / cells;
    const double first_cell_mm = -(kernel.reach_px + 0.5) * exposure.pixel_mm + cell_mm / 2;
    FineRaster raster(scene, transmission, {{first_cell_mm, first_cell_mm}, cell_mm},
                      (width + 2 * kernel.reach_px) * cells);
    RowWindow window(raster, taps);
    std::vector<float> line(static_cast<std::size_t>(raster.width())), sorted(line.size());
    Image<float> picture(width, height);
    for (int y = 0; y < height; ++y) {
        sum_rows(window.rows_from(y * cells, taps), line.size(), kernel.weights, line);
        sum_along(line, kernel, cells, sorted, picture.view().row(y), width);
    }
    return picture;
}

} // namespace ringwall::phantom
