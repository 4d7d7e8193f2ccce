// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "ringwall/record.hpp"

namespace ringwall {

struct GreyRange {
    float low = 0, scale = 1; ///< scale: one over the width
    static GreyRange of(float low, float high) { return {low, 1 / (high - low)}; }
};

/// Grey range of the picture: the middle 99.4 % of its values, so that single hot pixels do not set the
/// contrast, and at the bright end little more than the open beam, so that a burnt-in label does not either.
GreyRange display_range(ImageView<const float> t, const BoardRecord& record);

/// 0xFFRRGGBB; never quite black or white: lines and labels of every colour stay visible. `steps`: shades
/// that are told apart, 2 or more; few let noise pack well.
std::uint32_t grey_of(float value, GreyRange range, int steps = 256);

/// The picture at a place between pixel centres, interpolated; outside it, the nearest pixel inside.
float value_at(ImageView<const float> t, Point px);

/// A part of the picture over the whole canvas: canvas corner (0,0) shows the corner `corner_px` of a pixel
/// (its centre less 0.5), `zoom` canvas pixels a pixel. Enlarged: interpolated; made smaller: the mean of
/// what falls on a canvas pixel, so that noise does not grow. Beyond the picture: `panel`.
void paint_part(Canvas& canvas, ImageView<const float> t, Point corner_px, double zoom, GreyRange range);

} // namespace ringwall
