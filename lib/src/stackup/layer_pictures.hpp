// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/depth_model.hpp"

namespace ringwall {

/// The second pass: fills the pictures of `flat` (mean over depth, each layer, the highest between them).
///
/// A layer's picture is the mean of a column's values about the layer's depth, weighted with the foil's own
/// line and taken free of the neighbours' blurred tails by the inverse of the lines' overlaps. `zero`: depth
/// of the low outer copper face in the model. Between the layers: further from each foil's surface than 2.25
/// sigma of the blur, where its own tail is down to a hundredth.
void gather_pictures(const Volume& volume, const VolumeLevels& levels, const DepthModel& model, double zero,
                     FlatStack& flat, Watch& watch);

} // namespace ringwall
