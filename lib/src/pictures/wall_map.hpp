// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "pictures/canvas.hpp"

#include <memory>
#include <optional>
#include <vector>

namespace ringwall {

/// A hole's wall unrolled: cells of copper by angle (across, anticlockwise from 0) and depth (down).
struct WallCells {
    int angles = 0, depths = 0;
    std::vector<float> copper_um;  ///< [depth * angles + angle]
    std::vector<char> missing;     ///< 1: plating missing here
    std::optional<double> cell_mm; ///< depth of a cell; missing: depths are in slices
    std::vector<double> layers;    ///< middles of the copper layers, cells from the top
};

/// Light: much copper, dark: none; plum frames: plating missing. Layers are ticks at the left with their
/// numbers. Below it the scale of the turn.
std::unique_ptr<Canvas> draw_wall_map(const WallCells& cells);

} // namespace ringwall
