// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/ray.hpp"
#include "ringwall/edge_phantom.hpp"

#include <vector>

namespace ringwall::phantom {

/// Stretches of depth, in order and apart, with the length passed up to any depth.
class Depths {
  public:
    void clear();
    void add(double from, double to);
    [[nodiscard]] double within(double from, double to) const;
    bool operator==(const Depths&) const = default;

  private:
    [[nodiscard]] double up_to(double depth) const;
    std::vector<double> from_, to_, before_;
};

/// A slice of the board along the beam: transmission of every ray in it, as a function of its height at
/// mid-depth.
class EdgeColumn {
  public:
    /// Throws Error(usage) for layer tops that do not match, or a source within the board.
    EdgeColumn(const Board& board, const EdgeShot& shot, const Beam& beam);
    /// Takes the slice at x_mm (at mid-depth, from the board's middle). False: nothing changed.
    bool take(double x_mm);
    /// Of the ray at z_mm (at mid-depth, from the board's middle).
    [[nodiscard]] double transmission(double z_mm) const;

  private:
    struct Slab { ///< what lies between two heights over some depths
        double top, bottom;
        int substance;
        double sign; ///< -1: taken away from
        Depths depths;
    };
    void make_slabs(const Board& board, const EdgeShot& shot);
    void add_slab(double top, double bottom, int substance, double sign = 1);
    void fill(const RayReader::Stretch& stretch, double from, double to);

    const Board& board_;
    EdgeShot shot_;
    Scene scene_;
    RayReader reader_;
    double middle_y_ = 0;
    std::vector<Slab> slabs_, before_;
    std::vector<std::size_t> copper_, parts_;
    std::size_t laminate_ = 0, barrel_ = 0, steel_ = 0;
    std::vector<double> weights_;
    std::vector<std::vector<double>> mu_per_mm_; ///< by energy, then substance
    double slant_ = 0;                           ///< dx/dy of the slice
};

} // namespace ringwall::phantom
