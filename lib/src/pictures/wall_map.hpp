// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"

#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// A hole's wall unrolled: cells of copper by angle (across, anticlockwise from 0) and depth (down).
struct WallCells {
    int angles = 0, depths = 0;
    std::vector<float> copper;     ///< [depth * angles + angle], in `unit`
    std::string unit = "µm";       ///< "px" where there is no scale
    std::vector<char> missing;     ///< 1: plating missing here
    std::optional<double> cell_mm; ///< depth of a cell; missing: depths are in voxels
    std::vector<double> layers;    ///< middles of the copper layers, cells from the top, rising
};

/// On white, for a page. Light: much copper, dark: none; plum frames: plating missing. At the left the depth
/// (mm, else voxels), at the right every layer's mark with its number and depth, below the angle and what the
/// greys mean. Depth is drawn taller than it is.
std::unique_ptr<Canvas> draw_wall_map(const WallCells& cells);

/// Heights for labels wanted at `wanted` (rising), at least `apart` from each other and, where they fit, from
/// `low` to `high`.
std::vector<double> spread_apart(std::vector<double> wanted, double apart, double low, double high);

} // namespace ringwall
