// SPDX-License-Identifier: Apache-2.0
#include "pictures/grey.hpp"

#include "bridge/parallel.hpp"
#include "core/wide.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

namespace ringwall {
namespace {

/// Where in the range, 0 to 1. Written without branches, for whole rows.
inline float share_of(float value, GreyRange range) {
    const float share = (value - range.low) * range.scale;
    const float within = share > 0.0F ? (share < 1.0F ? share : 1.0F) : 0.0F; // not a number: 0
    return value <= std::numeric_limits<float>::max() ? within : 0.0F;
}

inline std::uint32_t grey_at(float share) {
    const auto grey = static_cast<std::uint32_t>(static_cast<int>(24 + 206 * share));
    return 0xFF000000U | grey << 16 | grey << 8 | grey;
}

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

std::uint32_t grey_of(float value, GreyRange range) {
    return grey_at(share_of(value, range));
}

RINGWALL_WIDE void grey_row(const float* values, int count, GreyRange range, std::uint32_t* to) {
    for (int i = 0; i < count; ++i)
        to[i] = grey_at(share_of(values[i], range));
}

FigureGrey::FigureGrey(GreyRange range) : range_(range) {
    for (int i = 0; i < shades; ++i)
        packed_[static_cast<std::size_t>(i)] = grey_at(static_cast<float>(i) / (shades - 1));
}

std::uint32_t FigureGrey::of(float value) const {
    const float place = share_of(value, range_) * (shades - 1);
    const auto below = static_cast<int>(place);
    const int nearest = below + (place - static_cast<float>(below) >= 0.5F ? 1 : 0);
    return packed_[static_cast<std::size_t>(nearest)];
}

namespace {

/// A canvas pixel's place in the picture, in one direction.
struct Place {
    double from; ///< its near side; 0: a pixel's side
    bool inside;
    Between between;
};

std::vector<Place> places(double corner, double zoom, int canvas_pixels, int picture_pixels) {
    std::vector<Place> list(static_cast<std::size_t>(canvas_pixels));
    for (int i = 0; i < canvas_pixels; ++i) {
        const double from = corner + i / zoom, middle = from + 0.5 / zoom - 0.5;
        list[static_cast<std::size_t>(i)] = {from, from >= 0 && from < picture_pixels,
                                             Between::of(middle, picture_pixels)};
    }
    return list;
}

} // namespace

void paint_part(Canvas& canvas, ImageView<const float> t, Point corner_px, double zoom, GreyRange range) {
    const auto pixels = canvas.pixels();
    const std::uint32_t outside = packed(palette::panel);
    const FigureGrey grey(range);
    const auto xs = places(corner_px.x, zoom, canvas.width(), t.width());
    const auto ys = places(corner_px.y, zoom, canvas.height(), t.height());
    const auto colour = [&](const Place& x, const Place& y) {
        if (!x.inside || !y.inside) return outside;
        return grey.of(zoom < 1 ? mean_over(t, {x.from, y.from}, 1 / zoom)
                                : value_at(t, x.between, y.between));
    };
    bridge::over_rows(canvas.height(), [&](int first, int last) {
        for (int row = first; row < last; ++row) {
            std::uint32_t* to = pixels.row(row);
            for (const Place& x : xs)
                *to++ = colour(x, ys[static_cast<std::size_t>(row)]);
        }
    });
}

} // namespace ringwall
