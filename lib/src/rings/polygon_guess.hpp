// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/step_fit.hpp"

#include <optional>
#include <span>
#include <vector>

namespace ringwall::rings {

struct GuessedPolygon {
    Contour contour;
    std::vector<bool> inlier; ///< one a point given
    int inliers = 0;
};

/// The regular polygon of 4, 6 or 8 sides that most points lie on within `tolerance`: every turn tried about
/// `centre`, then three rounds of least squares on the inliers. Nothing when fewer than `least` agree.
std::optional<GuessedPolygon> guess_polygon(std::span<const Point> points, Point centre, double tolerance,
                                            int least);

} // namespace ringwall::rings
