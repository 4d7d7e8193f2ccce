// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "layers/layered_hole.hpp"

namespace ringwall::layers {

/// Bore, drill and place of the whole hole from the layers that show its edge well, and these in the place of
/// what a layer that does not show it was read as.
///
/// A hole is drilled in one go. A layer whose copper comes up to a bare wall hides much of the edge, and its
/// own fit is off by several px while its neighbours agree to hundredths; a layer at whose depth the plating
/// is broken reads as a mixture of bore and drill. `astray` marks such layers by hand; others are found by an
/// uncertainty of the bore above four times the least. A layer that shows another bore well keeps it: a drill
/// may wander, a thread cuts in here and not there.
void use_one_drill(const FlatStack& flat, double pitch_px, std::vector<char> astray, LayeredHole& hole);

/// Gaps of one layer as they are on the flat board: the sheet's bow stretches a layer on its outer side and
/// presses one on its inner side together, about mid-depth (pure bending, whose middle keeps its length).
void unbend(const FlatStack& flat, double pitch_px, double depth_px, Hole& layer);

} // namespace ringwall::layers
