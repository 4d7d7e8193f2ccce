// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"
#include "ringwall/image.hpp"
#include "ringwall/record.hpp"

#include <memory>
#include <string>

namespace ringwall {

/// How a picture is drawn: canvas pixels a picture pixel (1; whole numbers above it for pictures too small to
/// carry text; below it only where a side passes 16000), and sizes of text and lines that stay legible when
/// the whole picture fills a screen; labels are smaller where there are many, down to three quarters.
struct OverlayLayout {
    double zoom = 1;
    double text = 12;       ///< of the legend
    double label_text = 12; ///< on the picture
    double line = 1.5;
    int picture_width = 0, picture_height = 0; ///< on the canvas
    bool on_page = false;                      ///< labels are the id and the space left: a page says the rest
    bool one_layer = false; ///< the space left is of another layer, perhaps: the keep-out instead
    /// Canvas place of a point of the picture (pixel centres at whole numbers).
    [[nodiscard]] Point at(Point px) const { return {(px.x + 0.5) * zoom, (px.y + 0.5) * zoom}; }
};
/// `labels`: how many holes want one.
OverlayLayout overlay_layout(int width_px, int height_px, std::size_t labels = 0);

/// overlay.png: the picture (open beam light, copper dark, whatever way round the file is) with what was
/// measured drawn on it, and a legend below: line styles, scale bar, units, k = 2, cautions.
///
/// Holes: the measured contour, its line style the state of the wall; the copper-free ring at its gap
/// profile, its narrowest direction marked; arcs where copper touches or own copper runs on; the hidden part
/// of the turn. Hardware holes carry id, bore and keep-out with U, the widest first; where there is no room
/// for that, and vias, their id. `t`: transmission, any size over 0. `caption`: first line of the panel, what
/// the picture is where it is not the source itself.
std::unique_ptr<Canvas> draw_overlay(ImageView<const float> t, const BoardRecord& record,
                                     const std::string& caption = {});

/// The same for a printed page, 176 mm wide: no panel (the page's own text says what the lines mean), labels
/// at the holes that a report is about (is_reported), their id and space left (no screw: keep-out), a scale
/// bar in a strip below.
std::unique_ptr<Canvas> draw_page_overlay(ImageView<const float> t, const BoardRecord& record);

/// The same of one copper layer, small: two of them stand beside each other, 84 mm wide each. Labels carry
/// the keep-out.
std::unique_ptr<Canvas> draw_layer_figure(ImageView<const float> t, const BoardRecord& record);

} // namespace ringwall
