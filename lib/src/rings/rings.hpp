// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"
#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

#include <cstdint>
#include <span>

namespace ringwall {

struct RingOptions {
    /// One-sided confidence of every bound given (p_low_px, largest_gap_not_excluded_px), 0.5 to 0.999.
    double confidence = 0.95;
    /// How far beyond the drilled wall copper is looked for, px. Larger: slower, and sees copper that no
    /// screw reaches.
    double search_px = 160;
    /// Share of the laminate's T that the thinnest copper looked for takes away: thinner copper is looked for
    /// than the picture's levels alone would have it. 0: not known.
    double least_copper_share = 0;
    /// Parts, screws and brackets may lie before the board and hide what is behind them. false: one layer of
    /// a slice stack, before which nothing lies; copper that comes up to a bare wall is then no part.
    bool parts_in_front = true;
    /// Mixed with the hole's position into the seed of the bootstrap; the caller takes it from the source's
    /// hash.
    std::uint64_t seed = 1;
    /// Draws of the bootstrap behind the smallest gap. Below 200 p_low_px becomes coarse.
    int bootstrap_draws = 400;
};

/// Measures the copper-free ring round one hole of a face-on picture and fills `hole.keepout` (all in px),
/// and adds the lines of "keepout_min_px" to `hole.budget_px`.
///
/// Model: going outward from the drilled wall, T is a sequence of local levels (air | laminate | copper x k)
/// whose boundaries are blurred by one Gaussian. Boundaries are fitted in transmission (methods: Joseph &
/// Spital 1981) by weighted least squares on pixels: one closed contour (circle + Fourier series, order by
/// BIC) where the copper edge is one, and wedges of their own wherever copper departs from it. Air, laminate
/// and copper share one fit where the gap is too narrow to show a plateau of laminate. The smallest of many
/// noisy gaps is biased low: its bias and its distribution come from a parametric bootstrap on the fitted
/// profile (Efron & Tibshirani 1993, chapter 6).
///
/// `hole` must hold centre, bore_px, drill_px (plated), wall.state, hidden_arcs, and for a hole out of round
/// its contour. `neighbours` are all holes near by, `hole` itself may be among them; only their seeds,
/// centres and diameters are read. Never throws for a picture that cannot be measured: the state is then
/// `undecided` and `why` says so.
void measure_ring(const TransmissionMap& map, const MaterialMap& materials, Hole& hole,
                  std::span<const Hole> neighbours, const RingOptions& options = {});

} // namespace ringwall
