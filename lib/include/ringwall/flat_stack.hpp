// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"
#include "ringwall/radiograph.hpp"
#include "ringwall/watch.hpp"

#include <array>
#include <functional>
#include <string>
#include <vector>

namespace ringwall {

/// A reconstructed volume to be read slice by slice, values as stored.
struct Volume {
    int width_px = 0, height_px = 0, slices = 0;
    /// Slice z into a picture of width x height. Called from several threads at once. Throws Error(input).
    std::function<void(int z, ImageView<float> out)> read_slice;
    double pitch_px = 1; ///< distance of two slices in pixels of a slice
};

/// A smooth height over the picture: a polynomial in x and y of total degree `degree`, in slices.
struct SmoothHeight {
    int degree = 0;
    Point middle_px;           ///< of the picture
    double half_px = 1;        ///< half its longer side: x and y are counted in it from the middle
    std::vector<double> terms; ///< of 1, x, y, x2, xy, y2, x3, ...
    [[nodiscard]] double at(Point px) const;
    /// Rise a pixel along x and y, in slices.
    [[nodiscard]] std::array<double, 2> slope(Point px) const;
};

/// One copper layer of a flattened stack.
struct FlatLayer {
    Estimate depth_px; ///< of the foil's middle below the low face (outer copper), in slices along the normal
    Estimate thickness_px; ///< of the foil, in slices; missing where blur hides it
    double coverage = 0;   ///< mean excess of the layer over laminate, laminate steps times slices
    Image<float> picture;  ///< laminate steps (air 0, laminate 1), at the columns of the slices
};

/// What stands highest in each column at depths that no layer's picture shows: copper of its own depth, such
/// as a lone trace or an embedded strip, is no layer and shows here.
struct BetweenLayers {
    Image<float> most;     ///< laminate steps; the column's highest value between the layers
    Image<float> depth_px; ///< where it lies, slices below the low face
    /// Layers k for which nothing lies between k and k + 1 that the two pictures would not show.
    std::vector<int> none_after;
};

/// A slice stack laid flat: the board as one smooth sheet of parallel copper layers.
///
/// Values are in laminate steps: (value - air) / (laminate - air), one pair of levels for the whole volume:
/// cupping stays in the pictures. Pictures keep the stack's columns: what lies below a point of the low face
/// is found `slope` times depth further on.
struct FlatStack {
    DenseSide dense = DenseSide::bright;
    double air = 0, laminate = 0;  ///< grey values as stored, the laminate's in the middle of the board
    SmoothHeight low_face;         ///< slice at which the low outer copper face lies
    double residual_px = 0;        ///< RMS of the layers' heights about the sheet, slices
    Estimate thickness_px;         ///< copper to copper outside, along the normal, in slices
    Estimate blur_z_px;            ///< Gaussian sigma across the board, slices
    std::vector<FlatLayer> layers; ///< from the low-z face
    Image<float> mean;             ///< mean over the board's depth
    BetweenLayers between;
    /// Why there may be more layers than were counted; empty: nothing seen speaks for it.
    std::string layers_why;
    std::vector<std::string> warnings;
};

struct FlattenOptions {
    DenseSide dense = DenseSide::automatic;
};

/// Finds the board in a volume and lays it flat.
///
/// Way: means of blocks of columns give faces and layer heights; one smooth height (robust polynomial, Tukey,
/// degree by BIC) and constant layer distances are fitted to them, since layers are parallel; the flattened
/// profile over depth is fitted as laminate and foils blurred by one Gaussian, which finds the foils; then
/// each foil is fitted once more as a box on unresampled readings of the blocks that it fills (an edge at
/// half the peak would be off by half a voxel and more), all with one blur; a second pass gathers each
/// layer's picture with the neighbours' blurred tails taken out. Reads every slice twice and holds a few at a
/// time, one picture a layer. Same result on any number of threads. Throws Error(nothing_measured): no board,
/// a board that leaves the volume (with the extent), nothing that is one sheet.
FlatStack flatten(const Volume& volume, const FlattenOptions& options, Watch& watch);

} // namespace ringwall
