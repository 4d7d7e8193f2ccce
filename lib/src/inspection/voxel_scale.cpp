// SPDX-License-Identifier: Apache-2.0
#include "inspection/voxel_scale.hpp"

#include "core/text.hpp"
#include "inspection/scale_sources.hpp"
#include "ringwall/error.hpp"

#include <array>
#include <cmath>

namespace ringwall {
namespace {

constexpr double most_oblong = 0.02;

std::array<double, 2> voxel_xy_mm(const ScaleSources& sources) {
    return sources.given_mm ? *sources.given_mm : sources.stated->pixel_xy_mm;
}

void check_square(const std::array<double, 2>& mm, const std::filesystem::path& file) {
    if (std::abs(mm[0] - mm[1]) <= most_oblong * std::max(mm[0], mm[1])) return;
    throw Error(Fault::input, file.filename().string() +
                                  ": expected voxels as wide as they are long in a slice, got " +
                                  shortest(mm[0]) + " x " + shortest(mm[1]) +
                                  " mm: correct the size, or resample the stack");
}

} // namespace

VoxelScale voxel_scale(const InspectRequest& request, const StackFacts& facts) {
    ScaleSources sources;
    VoxelScale voxel;
    if (request.voxel_mm) {
        sources.given_mm = std::array{(*request.voxel_mm)[0], (*request.voxel_mm)[1]};
        const bool in_case = request.scale_given == InspectRequest::ScaleGiven::in_case;
        sources.given = in_case ? "stated as voxel size in the case file" : "given as voxel size";
        voxel.pitch_mm = (*request.voxel_mm)[2];
    } else if (facts.voxel) {
        sources.stated = StatedScale{{facts.voxel->voxel_mm[0], facts.voxel->voxel_mm[1]}, facts.voxel->from};
        voxel.pitch_mm = facts.voxel->voxel_mm[2];
    }
    if (voxel.pitch_mm <= 0) {
        voxel.in_slice =
            Scale::unknown("no scale: the files state no voxel size that is certain; give --voxel-mm");
        return voxel;
    }
    check_square(voxel_xy_mm(sources), request.pictures.front());
    sources.u_percent = request.scale_u_percent;
    voxel.in_slice = find_scale(sources);
    if (voxel.in_slice.known() && voxel.pitch_mm > 0)
        voxel.pitch_px = voxel.pitch_mm / voxel.in_slice.mean_mm();
    return voxel;
}

} // namespace ringwall
