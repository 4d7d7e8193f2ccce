// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "inspection/session.hpp"
#include "layers/between.hpp"
#include "layers/layered_hole.hpp"
#include "ringwall/slice_stack.hpp"

#include <span>

namespace ringwall {

/// What the measuring of a slice stack leaves for drawing.
struct StackProducts {
    FlatStack flat;
    std::vector<layers::LayerMap> maps;
    layers::BetweenSight between;
    std::vector<layers::LayeredHole> holes; ///< in the record's order
};

/// A slice stack as a volume; `stack` must outlive it. `pitch_px`: distance of slices in pixels.
Volume volume_of(const SliceStack& stack, double pitch_px);

/// Measures one board in a slice stack: laid flat, holes found and fitted on every layer, walls read by angle
/// and depth, rings and screws layer by layer. Outcomes as inspect(). Decisions are
/// shown and not followed.
InspectOutcome inspect_stack(Session& session, std::span<const Decision> decisions, InspectWatch& outer);

} // namespace ringwall
