// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "inspection/findings.hpp"
#include "inspection/inspect_stack.hpp"
#include "inspection/voxel_scale.hpp"

#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// What a measured stack shows beside one of its holes: the rings of its layers, how thin a copper would have
/// shown on each and between them, and why no gap is shown.
ShownBeside shown_by_stack(const StackProducts& stack, const VoxelScale& voxel, const InspectRequest& request,
                           const layers::LayeredHole& hole);

/// Thinnest copper, um, that every layer and every depth between them would have shown beside this hole.
std::optional<double> thinnest_in_stack_um(const StackProducts& stack, const VoxelScale& voxel,
                                           const InspectRequest& request, const layers::LayeredHole& hole);

/// Where the sizes stated of board and foil do not fit what the stack shows with this voxel size: sentences.
/// `grave`: by so much that the voxel size must be doubted, and no length carries a gap.
struct SizeDoubts {
    std::vector<std::string> told, grave;
};
SizeDoubts size_doubts(const StackProducts& stack, const VoxelScale& voxel, const InspectRequest& request);

} // namespace ringwall
