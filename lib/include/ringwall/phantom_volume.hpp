// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/phantom.hpp"

#include <cstdint>
#include <utility>
#include <vector>

namespace ringwall::phantom {

/// Part of a drill's depth over which its plating is absent, mm from the board's low face.
struct PlatingBreak {
    std::size_t drill; ///< in Board::drills
    double from_mm;
    double to_mm;
};

/// A board in a reconstructed volume: how it lies there and what the scan did to it. No part of it changes
/// the board's truth. Depths are mm from the outer face of the first copper layer (low z), along the board's
/// normal; the last layer's outer face lies at Board::thickness_mm.
struct VolumeScan {
    double voxel_mm = 0.025; ///< x and y; Board::width_mm and height_mm give the columns
    double pitch_mm = 0.025; ///< between slices
    int slices = 120;
    double blur_mm = 0.025;    ///< Gaussian sigma in the slice's plane
    double blur_z_mm = 0.025;  ///< and along z
    double tilt_x_deg = 0;     ///< the board rises towards +x
    double tilt_y_deg = 0;     ///< towards +y
    double bow_mm = 0;         ///< the middle stands this far above the ends of the longer side (parabola)
    double copper_ratio = 30;  ///< attenuation of copper over the laminate's, 2 to 30 (about 31 at 60 keV,
                               ///< E-glass and resin without bromine; 8 with 7.5 % bromine; xraylib).
                               ///< Board::laminate is not read: this stands for it
    double laminate_snr = 18;  ///< (laminate - air) / sigma of a voxel; 0: no noise
    double cupping = 0;        ///< the middle reads low by this share
    double ring_artefacts = 0; ///< amplitude of rings about the volume's axis, in laminate steps
    /// Bands outward from every plated barrel, bright and dark in turn, as metal leaves them in a
    /// reconstruction: amplitude at the barrel in laminate steps, falling as 1 / distance; over the board's
    /// depth.
    double metal_streaks = 0;
    double laminate_grey = 1200; ///< grey values of the laminate's step; copper is copper_ratio times that
    double air_grey = 3000;
    bool dense_bright = true;            ///< reconstructed attenuation; false: stored as 65535 - value
    std::vector<double> layer_depths_mm; ///< of the layers' middles; empty: evenly spaced
    std::vector<PlatingBreak> breaks;
    std::uint64_t seed = 1;
};

/// Depth of each layer's middle. Throws Error(usage): as many depths as layers, rising, layers apart and
/// inside the board.
std::vector<double> layer_depths_mm(const Board& board, const VolumeScan& scan);

/// z (mm, slice 0 has its centre at 0) of the board's low face over a point of the picture.
double low_face_z_mm(const Board& board, const VolumeScan& scan, Point at_mm);

/// Draws a scan slice by slice, so that a volume need never be held.
///
/// Model: attenuation, in which a reconstruction is linear, so volumes are averaged and not intensities. The
/// board is a pile of sheets (copper layers and laminate between), each with the material of its footprint;
/// the sheets' footprints are drawn with draw_transmission (one energy, thickness chosen so that T is an
/// affine function of the covered shares), blurred in the plane, and weighted over depth with the sheet's box
/// blurred along z. In-plane places follow the board's normal. Accuracy (tests/phantom):
/// a height lies within 0.003 slice, an edge in the plane within 0.02 voxel. Memory: one picture of floats a
/// sheet.
class VolumePainter {
  public:
    /// Throws Error(usage) as draw_transmission and layer_depths_mm, and for a copper_ratio out of range.
    VolumePainter(const Board& board, const VolumeScan& scan);
    [[nodiscard]] int width() const { return width_; }
    [[nodiscard]] int height() const { return height_; }
    /// One slice in laminate steps (air 0, laminate 1, copper copper_ratio), no noise, no artefacts.
    void draw_slice(int z, ImageView<float> out) const;
    /// As a scanner would store it. Every voxel has its own random numbers.
    void scan_slice(int z, ImageView<std::uint16_t> out) const;

  private:
    struct Sheet {
        double from_mm, to_mm;
        Image<float> footprint;
    };
    struct Place { ///< of a column on the board
        float low_face_mm, slope_x, slope_y;
    };
    [[nodiscard]] const Place& place_at(int x, int y) const;
    static double cosine_of(const Place& place);
    [[nodiscard]] double depth_mm(int x, int y, double z_mm) const;
    [[nodiscard]] double value_at(int x, int y, double z_mm) const;
    [[nodiscard]] float sampled(const Sheet& sheet, double x, double y) const;

    Board board_;
    VolumeScan scan_;
    int width_ = 0, height_ = 0;
    std::vector<Place> places_;
    std::vector<Sheet> sheets_;
    Image<float> streaks_; ///< empty: none
};

} // namespace ringwall::phantom
