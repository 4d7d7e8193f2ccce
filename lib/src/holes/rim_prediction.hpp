// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "core/wide.hpp"
#include "holes/disk_profile.hpp"
#include "holes/rim_model.hpp"

#include <array>
#include <vector>

namespace ringwall {

/// The hole's own parameters, then the two that all holes share; those of a sector.
enum RimParameter { cx, cy, radius, wall, open, outside, ring_gap, ring_x, ring_y, sigma, barrel };
inline constexpr int rim_own = 9, rim_common = 11;
enum SectorParameter { lift, gap, beyond };
inline constexpr int per_sector = 3;

/// Pixels of one sector, a quantity an array. T's weight comes from the model's T, not the pixel's: a noisy
/// one would pull the level down.
struct RimPixels {
    std::vector<double> x, y, t, inverse_sigma;
    [[nodiscard]] std::size_t size() const { return x.size(); }
};

/// Derivatives of T at one pixel after the other, an array each. One stands for all parameters that move T
/// alike (the common level outside and a sector's own), and those that a sector cannot have are left out.
enum RimSlope {
    by_x,
    by_y,
    by_radius,
    by_open,
    by_outside,
    by_sigma,
    by_wall, ///< from here on of plated holes
    by_barrel,
    by_gap, ///< of sectors with a step
    by_beyond,
    by_ring_x, ///< of steps that belong to the ring
    by_ring_y,
    by_nothing ///< of the model: residuals stand here
};
inline constexpr int rim_slopes = by_nothing + 1;

struct RimRun {
    static constexpr std::size_t most = 128;
    using Column = std::array<double, most>;
    std::size_t count = 0;
    alignas(sizeof(Lanes)) std::array<Column, rim_slopes> by;
    alignas(sizeof(Lanes)) Column value;
};

/// T that the model predicts, and its derivatives. Keeps references to both arguments.
class RimPrediction {
  public:
    RimPrediction(const RimModel& model, const RimShared& shared);
    /// Of the pixels first ... first + count - 1, count at most RimRun::most.
    void fill(const RimPixels& pixels, std::size_t first, std::size_t count, int sector, RimRun& run) const;

  private:
    const RimModel& model_;
    const RimShared& shared_;
    DiskProfile inner_, outer_;
};

} // namespace ringwall
