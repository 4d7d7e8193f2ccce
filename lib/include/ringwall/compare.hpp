// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"
#include "ringwall/record.hpp"

#include <array>
#include <filesystem>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// An old board and its revision: where the places of one lie on the other, and what changed between them.

/// A hole as the alignment sees it.
struct AlignHole {
    Point at_px;       ///< pixels must be square here
    double u_px = 0.1; ///< of each coordinate, k = 1
    double bore_px =
        0; ///< 0: not known. Weighs when placements are compared, is no condition: bores get re-sized
};
struct AlignPair { ///< places in the two lists
    std::size_t old_hole = 0, revised_hole = 0;
    bool operator==(const AlignPair&) const = default;
};

struct AlignRequest {
    std::vector<AlignHole> old_holes, revised_holes;
    std::optional<double> scale;   ///< revised px per old px, where both pictures have a scale in mm
    double scale_relative_u = 0.0; ///< of `scale`, k = 1
    std::vector<AlignPair> by_hand;
};

/// revised = a * old + b in complex numbers x + iy; mirrored: a * conjugate(old) + b, that is, the old board
/// first turned over about the x axis (y to -y).
struct Similarity {
    double a_x = 1, a_y = 0, b_x = 0, b_y = 0;
    bool mirrored = false;
    [[nodiscard]] Point operator()(Point old) const {
        const double y = mirrored ? -old.y : old.y;
        return {a_x * old.x - a_y * y + b_x, a_y * old.x + a_x * y + b_y};
    }
    bool operator==(const Similarity&) const = default;
};

/// A similarity fitted to pairs, with what is needed to say how far it can be trusted at a place.
struct PlacedFit {
    Similarity similarity;
    Point centre_old;       ///< weighted mean of the old places
    double weight = 0;      ///< sum of 1/u^2 (revised px)
    double weight_span = 0; ///< sum of |old - centre|^2 / u^2
    double stretch = 1;     ///< residuals are this many times larger than the stated u explain; at least 1
    /// Standard uncertainty of a mapped place, revised px, each coordinate.
    [[nodiscard]] double u_px(Point old) const;
};

/// Finds how an old board's holes lie on the revised one's.
///
/// Model: one similarity (turn, scale, shift, mirrored or not) carries the holes that stayed onto each other;
/// any number of the others was added, dropped, moved or re-sized. Pairs of old holes are laid on pairs of
/// revised ones; a placement counts its one-to-one partners, each weighed by how well the bores agree (0.6
/// to 1); the best ones are refined by weighted least squares (closed form: Umeyama, IEEE PAMI 13 (1991) 376)
/// with Tukey's weights. Without a scale, 0.8 to 1.25 px per px is looked at first, then 0.4 to 2.5. Same
/// lists, same result.
///
/// Holes in a row or field count little (0.15): they fit as well when slipped by a pitch.
///
/// Not aligned (`fit` missing, `why` says so) when
/// - fewer than three holes are common, or so few that boards of nothing in common would show as many by
///   chance with more than one in a thousand, or under a quarter of those that lie on both boards;
/// - a distinct second placement is a rival, unless it explains under 0.85 of what the best one does and two
///   holes less, or three holes that stand alone fit the best one only, or of the holes that fit one of both
///   clearly most (2.2 sigma) fit the best. Turned rectangles and grids, holes on a line (which mirror) end
///   here.
/// Pairs given by hand go before all this: two or more set the placement; the residual then includes them.
/// Two leave mirroring open: the other holes decide, else a third pair is asked for. Throws Error(usage)
/// when they contradict each other or one hole stands in two pairs.
struct HoleAlignment {
    std::optional<PlacedFit> fit;
    std::string why;               ///< no fit: why; else what is odd, or empty
    std::vector<AlignPair> common; ///< pairs that the fit lies on, by old hole
    double ambiguity = 1;    ///< score of the best distinct other placement over the best; 1: not decided
    double residual_px = 0;  ///< RMS distance over `unmoved` of them, revised px
    std::size_t unmoved = 0; ///< pairs of `common` that the fit counts as not moved
    bool by_hand = false;
};
HoleAlignment align_holes(const AlignRequest& request);

} // namespace ringwall
