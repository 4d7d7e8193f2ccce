// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"
#include "ringwall/phantom.hpp"

#include <vector>

namespace ringwall::phantom {

/// How a Board is seen edge-on: beam along the board's y, so that its x runs along the picture and its
/// thickness across it. Board::layers[0] lies on face 0; Board's parts stand on face 0, as high as they are
/// thick. Lengths in mm at the board's mid-depth (the middle of its outline's y).
struct EdgeShot {
    double width_mm = 30, height_mm = 4; ///< of the picture's field
    double rotation_deg =
        0;               ///< of the board in the picture, anticlockwise as seen; at 0 face 0 lies uppermost
    Point shift_mm;      ///< of the board's middle from the picture's middle
    double tilt_deg = 0; ///< of the beam out of the board's plane: smears across the thickness
    double yaw_deg = 0;  ///< of the beam within the board's plane
    double source_to_board_mm = 0;     ///< to mid-depth; 0: parallel beam
    Point axis_mm;                     ///< where the central ray meets mid-depth, from the board's middle
    std::vector<double> layer_tops_mm; ///< of each foil from face 0; empty: outer foils at the faces, the
                                       ///< rest evenly between
    double mask_um = 0;                ///< solder mask on both faces, outside the copper
};

/// Noise-free transmission (open beam 1), blurred, of a board seen edge-on.
///
/// Model: a straight ray meets copper of layer n where its plan view lies on that copper while its height is
/// within the foil; outer foils stand on the laminate, inner ones displace it; barrels are copper through
/// the whole thickness, steel pins stick out, mask fills what outer copper leaves. T = sum over energies of
/// weight * exp(-sum mu t) of the ray; intensities of rays, never path lengths, are averaged: across the
/// thickness adaptively to 1/500 px, along the board over cells of 1/samples px. Then the Gaussian of the
/// optics over the pixel's area as in draw_transmission (the pixel's square taken along the board). Heel and
/// noise are not in it: expose_drawn. Accuracy (tests/phantom): an edge lies within 0.002 px. Throws
/// Error(usage) as draw_transmission, for layer tops that do not match the layers, and for a source within
/// the board.
Image<float> draw_edge_on(const Board& board, const EdgeShot& shot, const Exposure& exposure);

/// Tops of the foils as drawn, mm from face 0.
std::vector<double> layer_tops_mm(const Board& board, const EdgeShot& shot);
/// Where a point of the board stands in the picture, px: x along the board from its field's left side, z
/// from face 0, at mid-depth.
Point edge_point_px(const Board& board, const EdgeShot& shot, const Exposure& exposure, double x_mm,
                    double z_mm);

} // namespace ringwall::phantom
