// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "layers/layered_hole.hpp"

#include <utility>
#include <vector>

namespace ringwall {

/// Depths, slices below the low face, between which a barrel's plating is interrupted round the whole turn: a
/// piece of missing cells that goes all round, so that no plating leads past it from face to face. What it
/// is missing over the whole turn counts; of a slanted one, from its highest to its lowest cell. From the low
/// face; empty: none.
std::vector<std::pair<double, double>> wall_breaks(const layers::WallMap& map);

} // namespace ringwall
