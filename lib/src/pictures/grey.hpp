// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "ringwall/record.hpp"

#include <algorithm>
#include <array>
#include <cstdint>

namespace ringwall {

struct GreyRange {
    float low = 0, scale = 1; ///< scale: one over the width
    static GreyRange of(float low, float high) { return {low, 1 / (high - low)}; }
};

/// Grey range of the picture: the middle 99.4 % of its values, so that single hot pixels do not set the
/// contrast, and at the bright end little more than the open beam, so that a burnt-in label does not either.
GreyRange display_range(ImageView<const float> t, const BoardRecord& record);

/// 0xFFRRGGBB; never quite black or white: lines and labels of every colour stay visible. What is not finite
/// is dark.
std::uint32_t grey_of(float value, GreyRange range);

/// grey_of for `count` values at once, all 256 shades.
void grey_row(const float* values, int count, GreyRange range, std::uint32_t* to);

/// grey_of in the shades of figures: finer than print shows.
class FigureGrey {
  public:
    explicit FigureGrey(GreyRange range);
    [[nodiscard]] std::uint32_t of(float value) const;

  private:
    static constexpr int shades = 96;
    GreyRange range_;
    std::array<std::uint32_t, shades> packed_{};
};

/// Between which two of `count` pixels a place lies, and how far beyond the first; outside them, at the
/// nearest.
struct Between {
    int first = 0, second = 0;
    float share = 0;
    static Between of(double place, int count);
};

/// The picture at a place between pixel centres, interpolated; outside it, the nearest pixel inside.
float value_at(ImageView<const float> t, const Between& x, const Between& y);
inline float value_at(ImageView<const float> t, Point px) {
    return value_at(t, Between::of(px.x, t.width()), Between::of(px.y, t.height()));
}

/// A part of the picture over the whole canvas: canvas corner (0,0) shows the corner `corner_px` of a pixel
/// (its centre less 0.5), `zoom` canvas pixels a pixel. Enlarged: interpolated; made smaller: the mean of
/// what falls on a canvas pixel, so that noise does not grow. Beyond the picture: `panel`.
void paint_part(Canvas& canvas, ImageView<const float> t, Point corner_px, double zoom, GreyRange range);

inline Between Between::of(double place, int count) {
    const double inside = std::clamp(place, 0.0, count - 1.0);
    const int first = static_cast<int>(inside);
    return {first, std::min(first + 1, count - 1), static_cast<float>(inside - first)};
}

inline float value_at(ImageView<const float> t, const Between& x, const Between& y) {
    const float *upper = t.row(y.first), *lower = t.row(y.second);
    return (upper[x.first] * (1 - x.share) + upper[x.second] * x.share) * (1 - y.share) +
           (lower[x.first] * (1 - x.share) + lower[x.second] * x.share) * y.share;
}

} // namespace ringwall
