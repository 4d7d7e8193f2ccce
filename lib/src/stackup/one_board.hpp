// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/sheet.hpp"

#include <optional>
#include <vector>

namespace ringwall {

/// As thick as the board. A block of its rim, or over a hole, may show one foil alone.
bool is_whole(const BlockFaces& face, double thickness);

/// Throws Error(nothing_measured), with the slices, where half the columns that meet a board meet a second
/// one beyond air.
void check_not_stacked(const BlockProfiles& blocks, const VolumeLevels& levels);

/// Throws Error(nothing_measured), with the extent in the slices, where the blocks as thick as the board are
/// not one piece: blocks side by side whose middles lie apart by what no one board bends to, or a second
/// piece with air all round it and a tenth of the blocks.
void check_one_piece(const BlockProfiles& blocks, const std::vector<std::optional<BlockFaces>>& faces,
                     double thickness);

} // namespace ringwall
