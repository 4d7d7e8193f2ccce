// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "pictures/grey.hpp"
#include "ringwall/record.hpp"

#include <memory>
#include <string>

namespace ringwall {

/// The figures of one hole's page. `t`: transmission of the picture that `hole` was measured in, `range`:
/// its greys, the same for all holes. Lengths in mm, without a scale in px. Words belong in the page: the
/// figures carry only numbers and units.

/// Close-up: the picture round the hole, its contour, ring and narrowest place, a scale bar. Neighbours show
/// their walls alone.
std::unique_ptr<Canvas> draw_portrait(ImageView<const float> t, GreyRange range, const BoardRecord& record,
                                      const HoleRecord& hole);

/// The ring unrolled: angle to the right from 0 to 360 degrees, distance from the fitted drilled wall down,
/// outward. Lines as in the portrait.
std::unique_ptr<Canvas> draw_unrolled(ImageView<const float> t, GreyRange range, const BoardRecord& record,
                                      const HoleRecord& hole);

/// SVG: gap at every angle with its band (U, k = 2), broken where there is no value; there a bar below the
/// curve: grey hidden or merged, plum own copper, none where no copper was met. With a screw: how far its
/// metal gets from the wall (dashed), and that plus the spacing (dash-dot). Empty without a profile.
std::string gap_curve_svg(const HoleRecord& hole);

/// SVG: plan view to scale, as seen in the picture: contour, drill diameter, copper as it was seen by
/// direction, the screw pushed to where the gap is smallest as far as its reach says, minor diameter, head
/// and washer (dashed), what its metal reaches at any angle. Empty without a screw, a scale or a bore.
std::string screw_view_svg(const HoleRecord& hole, const std::optional<Screw>& screw);

/// How far beyond the wall the figures of a hole look, px: its ring and a little more.
double shown_beyond_px(const HoleRecord& hole);

} // namespace ringwall
