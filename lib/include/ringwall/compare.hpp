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

/// One number of a pair: revised less old.
struct Delta {
    std::string key; ///< "bore_mm", "keepout_min_mm", "margin_mm", "position_mm", ...; in px without a scale
    Estimate value;
    /// Whether a change is shown; missing: not tested, `value` says why there is none. See compare_boards.
    std::optional<bool> beyond;
    double p = 1;             ///< chance of a difference this large were there none
    bool bound_wider = false; ///< of a missing value that is a bound: the revised side is the wider one
    bool operator==(const Delta&) const = default;
};

/// A hole on both boards, or on one.
struct HoleChange {
    std::optional<std::size_t> old_hole, revised_hole; ///< places in the records' holes
    std::string old_id, revised_id;                    ///< empty: not on that board
    /// "added", "dropped", "moved", "resized", "plated", "unplated", "wider", "narrower", "reshaped",
    /// "finding"; empty: no change shown.
    std::vector<std::string> change;
    std::vector<Delta> delta;
    std::vector<std::string> notes; ///< what the numbers do not say: one-sided bounds, places not in view
    [[nodiscard]] const Delta* find(const std::string& key) const;
    [[nodiscard]] bool has(const std::string& what) const;
    bool operator==(const HoleChange&) const = default;
};

struct BoardChange {
    Estimate thickness_mm; ///< revised - old
    std::optional<bool> thickness_beyond;
    std::optional<int> layers; ///< revised - old; missing: see at_least, why
    std::optional<int> layers_at_least;
    std::string layers_why;
    bool operator==(const BoardChange&) const = default;
};

struct ComparedBoard {
    std::string results; ///< folder or source as named in the results: without absolute folders
    std::string name, revision, unit, file, sha256;
    bool operator==(const ComparedBoard&) const = default;
};

struct CompareOptions {
    std::vector<std::pair<std::string, std::string>> by_hand; ///< ids, old and revised
};

struct Comparison {
    ProgramFacts program;
    ComparedBoard old_board, revised_board;
    HoleAlignment alignment;
    std::array<std::array<double, 3>, 2> revised_px_from_old_px{}; ///< meaningful with alignment.fit
    Estimate scale; ///< revised mm per old mm, by the holes that stayed; missing without both scales
    std::optional<double> residual_mm;
    std::vector<HoleChange> pairs; ///< old holes in their order, then those of the revised board alone
    BoardChange board;
    std::size_t tests = 0; ///< that share the rate of false discoveries
    std::vector<std::string> notes;
    std::string answer;      ///< one paragraph
    std::string why_nothing; ///< not empty: the boards were not aligned, and why
};

/// Compares two records; only holes of each record's first source are paired.
///
/// Pairs: those of the alignment; then holes left over whose names by a person are the same on both boards;
/// then those nearest to each other within a bore's diameter, of bores within a quarter, with nothing else
/// as likely. The rest is on one board only: `dropped` or `added` where the other picture covers the place,
/// else a note "not in view" and no claim.
///
/// Deltas: u^2 is the sum of both sides' squares. Of the scale, what both pictures have in common cancels
/// where the alignment shows it: holes that stayed lie as far apart on both boards (but for a stretch of
/// 0.05 %: panels, common practice, no source), so the ratio of the two scales is seen, and only its
/// departure from 1 (in full, also where it is more than both stated u allow), its own u and the stretch stay
/// in, with the scale's u for the difference itself. With fewer than eight such holes both scales' u count as
/// independent. Without mm on both sides, lengths are compared in px of the revised picture through the
/// alignment's scale.
///
/// `beyond`: |delta| > sqrt(U1^2 + U2^2), k = 2, and the change is among those that Benjamini & Hochberg's
/// procedure (J. R. Stat. Soc. B 57 (1995) 289) keeps at a false discovery rate of 5 % over all tests of the
/// comparison: place, bore, copper-free ring and margin of every pair. A ring on one side against none within
/// the searched distance on the other is tested one-sided. Words such as plated, reshaped and finding compare
/// states, which have their own bounds: no number is tested.
///
/// Throws Error(usage) for ids that no board has.
Comparison compare_boards(const BoardRecord& old_board, const BoardRecord& revised_board,
                          const CompareOptions& options = {});

/// comparison.json as bytes (contract.md, OUT/comparison.json), and one pair a row as CSV.
std::string to_json(const Comparison& comparison, const BoardRecord& old_board,
                    const BoardRecord& revised_board);
std::string to_csv(const Comparison& comparison, const BoardRecord& old_board,
                   const BoardRecord& revised_board);

} // namespace ringwall
