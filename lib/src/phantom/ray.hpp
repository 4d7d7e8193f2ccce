// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/scene.hpp"

#include <vector>

namespace ringwall::phantom {

/// What a ray over the board passes, in closed form: stretches of one stack each.
class RayReader {
  public:
    struct Stretch {
        double from_mm, to_mm; ///< from the ray's start
        Stack stack;
    };
    /// Looks at the steps that matter within reach_mm of a point, and within the board's field.
    RayReader(const Board& board, Scene& scene, Point centre_mm, double reach_mm);
    /// Stretches up to reach_mm or the field's edge, in order, equal neighbours joined. Valid until the next
    /// call.
    const std::vector<Stretch>& read(Point origin_mm, double angle_deg, double reach_mm);
    const std::vector<Stretch>& read(Point origin_mm, Point unit, double reach_mm);

  private:
    Scene& scene_;
    Box field_;
    std::vector<int> near_; ///< steps
    std::vector<int> on_ray_;
    std::vector<double> crossings_;
    std::vector<Stretch> stretches_;
};

} // namespace ringwall::phantom
