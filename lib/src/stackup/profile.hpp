// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/transmission.hpp"
#include "stackup/strip.hpp"

#include <vector>

namespace ringwall::stackup {

/// Mean transmission at one place across the board.
struct Sample {
    double z = 0; ///< px across, mean of the pixels' own places
    double t = 0;
    double u = 0;      ///< of t, from the noise model
    double spread = 0; ///< standard deviation of the pixels' places: blur added by taking them together
};

/// Transmission across the board, by pieces of its length. Pixels are sorted by their place across and keep
/// it, so that nothing is resampled. Every sample is the mean over a stretch of one pixel across, a quarter
/// of a pixel from the next: so each column of the picture gives one pixel to each sample. Narrower stretches
/// would take some columns here and others there, and where columns differ (a trace in this one, none in
/// that) samples would differ by far more than noise.
class Profiles {
  public:
    /// Pieces of `piece_px` along the strip; across from `low` to `high`.
    Profiles(const TransmissionMap& map, const Strip& strip, double low, double high, double piece_px,
             Watch& watch);

    [[nodiscard]] int count() const { return count_; }
    /// Middle of a piece, along.
    [[nodiscard]] double along(int piece) const { return first_ + (piece + 0.5) * piece_px_; }
    [[nodiscard]] std::vector<Sample> of(int piece) const;
    /// Of several pieces together; each counts as often as `weights` says (0: left out).
    [[nodiscard]] std::vector<Sample> of(const std::vector<double>& weights) const;
    /// Mean of a piece between two places; 1 and no pixel: nothing there.
    [[nodiscard]] double mean(int piece, double from, double to) const;

  private:
    struct Bin {
        double t = 0, z = 0, n = 0, zz = 0;
    };
    [[nodiscard]] const Bin& bin(int piece, int k) const {
        return bins_[static_cast<std::size_t>(piece) * static_cast<std::size_t>(bins_across_) +
                     static_cast<std::size_t>(k)];
    }
    [[nodiscard]] std::vector<Sample> samples(const std::vector<Bin>& bins) const;
    int count_, bins_across_;
    double first_, piece_px_, low_;
    NoiseModel noise_;
    std::vector<Bin> bins_;
};

} // namespace ringwall::stackup
