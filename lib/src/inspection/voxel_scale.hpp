// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "ringwall/inspection.hpp"
#include "ringwall/slice_stack.hpp"

namespace ringwall {

/// Pixel size in a slice and distance of slices, mm.
struct VoxelScale {
    Scale in_slice = Scale::unknown("no scale: measuring stopped before it was looked for");
    double pitch_mm = 0; ///< 0: not known
    double pitch_px = 1;
    [[nodiscard]] Estimate depth_mm(const Estimate& slices) const {
        if (pitch_mm <= 0) return Estimate::missing(in_slice.why());
        return slices.scaled(pitch_mm, in_slice.relative_u());
    }
};

/// The voxel size given, else the one that the files state, with its origin. Throws Error(input) for pixels
/// of a slice that are further from square than most_oblong: a hole round in the picture would be none.
VoxelScale voxel_scale(const InspectRequest& request, const StackFacts& facts);

} // namespace ringwall
