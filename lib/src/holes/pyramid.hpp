// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"
#include "ringwall/watch.hpp"

#include <vector>

namespace ringwall::holes {

/// The picture and its 2 x 2 means of 2 x 2 means ...: holes of any size become a few pixels wide on some
/// level. Level 0 is the caller's picture, not copied; the others take a third of its memory together.
class Pyramid {
  public:
    /// The picture must outlive the pyramid. Stops before a side falls under 24 pixels.
    Pyramid(ImageView<const float> picture, Watch& watch);

    [[nodiscard]] int levels() const { return 1 + static_cast<int>(reduced_.size()); }
    [[nodiscard]] ImageView<const float> level(int k) const {
        return k == 0 ? picture_ : reduced_[static_cast<std::size_t>(k - 1)].view();
    }
    static double pixel(int k) {
        return static_cast<double>(1 << k);
    } ///< of level k, in pixels of the picture
    static Point to_picture(Point p, int k) { return {at(p.x, k), at(p.y, k)}; }
    static Point to_level(Point p, int k) { return {from(p.x, k), from(p.y, k)}; }

  private:
    static double at(double v, int k) { return v * pixel(k) + 0.5 * (pixel(k) - 1); }
    static double from(double v, int k) { return (v - 0.5 * (pixel(k) - 1)) / pixel(k); }
    ImageView<const float> picture_;
    std::vector<Image<float>> reduced_;
};

/// A place brighter (sign +1) or darker (-1) than its surround, on one level.
struct Blob {
    int level = 0;
    Point at;            ///< in pixels of that level, to about one
    double radius = 0;   ///< that this filter answers to best, in pixels of that level
    float response = 0;  ///< centre minus surround, in T; > 0 for both signs
    double core = 0;     ///< brightest 3 x 3 mean at the peak
    double surround = 0; ///< median of 3 x 3 means five pixels away
};

/// What counts as a blob.
struct BlobChoice {
    int sign = 1;
    double least_response = 0; ///< in T, on every level
    double noise = 0; ///< sigma of one pixel of level 0; peaks under 4 sigma of the response are left out
    double least_core = -1; ///< the brightest 3 x 3 mean at the peak must reach this ...
    double core_slack = 0;  ///< ... less this many of its own sigmas ...
    double core_leak = 0;   ///< ... less this share of its height over the surround: blur darkens small cores
};

/// Local maxima of the difference of two Gaussians (sigma 2 and 3.5 pixels of the level), level by level: a
/// round blob of radius 3 to 7 pixels of its level answers with 0.2 to 0.39 of its contrast. Filtered on the
/// next coarser level, which still samples these Gaussians well and has a quarter of the pixels. Works in
/// strips; rows in order.
std::vector<Blob> find_blobs(const Pyramid& pyramid, const BlobChoice& choice, Watch& watch);

} // namespace ringwall::holes
