// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"
#include "ringwall/watch.hpp"

#include <optional>
#include <string>
#include <utility>

namespace ringwall::stackup {

/// The board's place in the picture. `along` runs with the board, `across` from the low-z to the high-z face;
/// both px, origin at the board's reference point.
struct Strip {
    Point origin;
    double angle_deg = 0;       ///< direction of `along`, anticlockwise as seen, in (-90, 90]
    double first = 0, last = 0; ///< board's extent along
    double low = 0, high = 0;   ///< and across, coarse
    double bow = 0;             ///< across += bow * along^2

    [[nodiscard]] Point along_unit() const;
    /// (along, across) of a picture point.
    [[nodiscard]] Point strip_from_image(Point p) const;
    [[nodiscard]] Point image_from_strip(Point p) const;
};

/// Finds the band that a board seen edge-on makes, to about a pixel of a picture made four times coarser;
/// nothing, and why, where there is none.
std::pair<std::optional<Strip>, std::string> find_strip(ImageView<const float> t, Watch& watch);

} // namespace ringwall::stackup
