// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"
#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"
#include "ringwall/watch.hpp"

#include <vector>

namespace ringwall::holes {

/// Places where a drilled hole is seen: round (or slot-shaped) bright cores that reach the void's level.
///
/// Way: bright blobs on an image pyramid; from each, rays out to the first fall of T; a circle (or slightly
/// oval) outline voted by these falls, so that parts in front, bites and neighbours do no harm; then gates on
/// the core's level (air is air: laminate discs in copper are not), on the share of the turn that lies on the
/// outline, and on the fall against the noise. Dense round bodies inside such a rim are named `filled`.
///
/// `materials` may be null: the void's and the laminate's levels are then read off the picture's own grey
/// values. Returns candidates top to bottom, left to right; centre and radius are good to about a pixel.
/// Holes cut by the picture's border are left out. Same result on any number of threads. Throws Cancelled
/// when the watch says so. Works in strips and windows: a third of the map's memory at most.
std::vector<HoleCandidate> find_holes(const TransmissionMap& map, const MaterialMap* materials, Watch& watch);

} // namespace ringwall::holes
