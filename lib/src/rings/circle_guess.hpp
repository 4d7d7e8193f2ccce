// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace ringwall::rings {

struct GuessedCircle {
    Point centre;
    double radius = 0;
    std::vector<bool> inlier; ///< one a point given
    int inliers = 0;
};

/// The circle that most points lie on within `tolerance`, by random triples (Fischler & Bolles 1981) and
/// three rounds of geometric least squares on its inliers. The origin must lie inside it. Nothing when fewer
/// than `least` points agree.
std::optional<GuessedCircle> guess_circle(std::span<const Point> points, double tolerance, int least,
                                          std::uint64_t seed);

} // namespace ringwall::rings
