// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/figure.hpp"

namespace ringwall::phantom {

/// Walks round the boundary of a convex figure (Circle, Track, SwungDisk), turn in [0, 1).
struct ContourPlace {
    Point point_mm;
    Point outward; ///< unit normal
};
ContourPlace contour_place(const Figure& figure, double turn);

} // namespace ringwall::phantom
