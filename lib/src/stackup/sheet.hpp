// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/block_profiles.hpp"

#include <optional>

namespace ringwall {

/// Grey levels of a volume; `sign` turns stored values so that dense material is high.
struct VolumeLevels {
    double sign = 1;
    double air = 0;         ///< times sign
    double laminate = 0;    ///< times sign, above air
    double block_noise = 0; ///< of a block's mean in one slice, laminate steps
    [[nodiscard]] double steps(double stored) const { return (sign * stored - air) / (laminate - air); }
};

/// Air from both ends of the volume, laminate as the commonest value above it. Dense side not given: the side
/// of the long tail, which copper makes. Throws Error(nothing_measured): no board, or one that lies at the
/// volume's ends.
VolumeLevels volume_levels(const BlockProfiles& blocks, DenseSide dense);

/// Throws Error(nothing_measured), with the extent, for a board that the first or the last slice cuts off.
void check_inside(const BlockProfiles& blocks, const VolumeLevels& levels);

/// Where a block's columns enter and leave the board, slices; at half a laminate step.
struct BlockFaces {
    double low = 0, high = 0;
};
/// One a block; nothing where there is no board, or it is only a rim.
std::vector<std::optional<BlockFaces>> block_faces(const BlockProfiles& blocks, const VolumeLevels& levels);

/// A height measured at a place, with a weight (0: left out).
struct HeightPoint {
    Point at_px;
    double z = 0;
    double weight = 1;
};
/// The polynomial through the points, robust (Tukey's biweight on residuals in units of their MAD), of the
/// degree from 1 to `most_degree` that BIC likes best. `residual_px`: robust sigma of what is left.
struct HeightFit {
    SmoothHeight height;
    double residual_px = 0;
    double kept_share = 0; ///< of the weight, after Tukey
};
HeightFit fit_height(const std::vector<HeightPoint>& points, int width_px, int height_px, int most_degree);

} // namespace ringwall
