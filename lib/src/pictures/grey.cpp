// SPDX-License-Identifier: Apache-2.0
#include "pictures/grey.hpp"

#include "bridge/parallel.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace ringwall {
namespace {

constexpr int figure_shades = 96; ///< of a part of a picture: finer than print shows

float quantile(std::vector<float>& values, double share) {
    const auto place =
        values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), place, values.end());
    return *place;
}

/// What the open beam reads: the brighter quarter of the holes at their middle. None without a measured hole.
std::optional<float> open_level(ImageView<const float> t, const BoardRecord& record) {
    std::vector<float> levels;
    for (const auto& hole : record.holes) {
        const auto x = std::lround(hole.x_px), y = std::lround(hole.y_px);
        if (!hole.bore_px || x < 0 || y < 0 || x >= t.width() || y >= t.height()) continue;
        const float level = t(static_cast<int>(x), static_cast<int>(y));
        if (std::isfinite(level)) levels.push_back(level);
    }
    if (levels.empty()) return std::nullopt;
    return quantile(levels, 0.75);
}

std::uint32_t packed(Colour c) {
    return 0xFF000000U | static_cast<std::uint32_t>(c.r) << 16 | static_cast<std::uint32_t>(c.g) << 8 | c.b;
}

/// Mean over a square of the picture, its sides in whole pixels.
float mean_over(ImageView<const float> t, Point from_px, double side_px) {
    const int x0 = std::max(0, static_cast<int>(from_px.x)), y0 = std::max(0, static_cast<int>(from_px.y));
    const int x1 = std::clamp(static_cast<int>(from_px.x + side_px), x0 + 1, t.width());
    const int y1 = std::clamp(static_cast<int>(from_px.y + side_px), y0 + 1, t.height());
    double sum = 0;
    for (int y = y0; y < y1; ++y)
        for (int x = x0; x < x1; ++x)
            sum += static_cast<double>(t(x, y));
    return static_cast<float>(sum / (static_cast<double>(x1 - x0) * (y1 - y0)));
}

} // namespace

GreyRange display_range(ImageView<const float> t, const BoardRecord& record) {
    std::vector<float> sample;
    const std::size_t step = std::max<std::size_t>(1, t.size() / 200000);
    const auto width = static_cast<std::size_t>(t.width());
    for (std::size_t i = 0; i < t.size(); i += step) {
        const float value = t(static_cast<int>(i % width), static_cast<int>(i / width));
        if (std::isfinite(value)) sample.push_back(value);
    }
    if (sample.empty()) return GreyRange::of(0, 1);
    const float low = quantile(sample, 0.003);
    float high = quantile(sample, 0.997);
    if (const auto open = open_level(t, record); open && *open > low)
        high = std::min(high, *open + 0.1F * (*open - low));
    return high > low ? GreyRange::of(low, high) : GreyRange::of(low - 1, low + 1);
}

std::uint32_t grey_of(float value, GreyRange range, int steps) {
    float share = std::isfinite(value) ? std::clamp((value - range.low) * range.scale, 0.0F, 1.0F) : 0.0F;
    if (steps < 256)
        share = std::round(share * static_cast<float>(steps - 1)) / static_cast<float>(steps - 1);
    const auto grey = static_cast<std::uint32_t>(24 + 206 * share);
    return 0xFF000000U | grey << 16 | grey << 8 | grey;
}

float value_at(ImageView<const float> t, Point px) {
    const double x = std::clamp(px.x, 0.0, t.width() - 1.0), y = std::clamp(px.y, 0.0, t.height() - 1.0);
    const int x0 = static_cast<int>(x), y0 = static_cast<int>(y);
    const int x1 = std::min(x0 + 1, t.width() - 1), y1 = std::min(y0 + 1, t.height() - 1);
    const auto fx = static_cast<float>(x - x0), fy = static_cast<float>(y - y0);
    return (t(x0, y0) * (1 - fx) + t(x1, y0) * fx) * (1 - fy) + (t(x0, y1) * (1 - fx) + t(x1, y1) * fx) * fy;
}

void paint_part(Canvas& canvas, ImageView<const float> t, Point corner_px, double zoom, GreyRange range) {
    const auto pixels = canvas.pixels();
    const std::uint32_t outside = packed(palette::panel);
    bridge::over_rows(canvas.height(), [&](int first, int last) {
        for (int y = first; y < last; ++y) {
            for (int x = 0; x < canvas.width(); ++x) {
                const Point from{corner_px.x + x / zoom, corner_px.y + y / zoom}; // 0: a pixel's corner
                const Point middle{from.x + 0.5 / zoom - 0.5, from.y + 0.5 / zoom - 0.5};
                const bool inside = from.x >= 0 && from.y >= 0 && from.x < t.width() && from.y < t.height();
                const auto value = [&] {
                    return zoom < 1 ? mean_over(t, from, 1 / zoom) : value_at(t, middle);
                };
                pixels(x, y) = inside ? grey_of(value(), range, figure_shades) : outside;
            }
        }
    });
}

} // namespace ringwall
