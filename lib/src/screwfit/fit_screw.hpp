// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/screwfit.hpp"
#include "screwfit/ring_in_mm.hpp"

#include <optional>
#include <string>
#include <vector>

namespace ringwall::screwfit {

/// What a hole is judged with; the same for all holes of a board.
struct Judging {
    Screw screw;
    SpacingRule rule;
    double confidence = 0.95;
    std::optional<double> board_mm; ///< thickness: for a tilted screw, and a plane of unknown height
    std::optional<double> source_to_board_mm;    ///< of the picture, where its geometry is known
    std::optional<Point> centre_px;              ///< where the central ray meets the picture
    std::optional<double> smallest_foil_seen_um; ///< that this picture would have shown
    double thinnest_foil_um = 11;                ///< that must be assumed
    /// Of a slice stack: why it shows no gap beside this hole, in sentences. Empty: a face-on picture.
    std::vector<std::string> stack_forbids;
};

struct Judged {
    std::optional<ScrewFit> screw;
    std::string why;                ///< without a screw
    std::vector<BudgetLine> budget; ///< of contact_margin_mm, margin_mm and cutting_margin_mm
};

/// How a finding is made. The screw is put at its worst position in the hole (reach.hpp); all metal of it is
/// one conductor with the hole's own copper; every other copper is treated as live, its net not established.
///
/// `reaches`: contact margin below 0 at the confidence, by resting reach; or copper at a bare wall where a
/// gap of 0.05 mm would have been seen. `too_close`: no contact, margin below 0 at the confidence.
/// `gap_shown`: margin above 0 at the confidence, by cutting reach when the screw cuts, and nothing forbids
/// it. Else `undecided`. All one-sided. The head, the washer and the far side count only where the case gives
/// their size, and face-on, where no copper is known to lie on an outer face, they never say more than
/// `undecided`. Without a scale every hole is `undecided`. Throws Error(usage) for a rule that is half given.
Judged judge(const Hole& hole, const Scale& scale, const Judging& with);

/// One copper layer of a hole: the hole with that layer's keep-out as its own, and where the layer lies.
struct LayerOfHole {
    Hole hole;
    LayerPlace place;
};
/// The same for a hole of a slice stack, at least one layer: the thread against every layer (a crooked screw
/// by the way from the further face to it), head, washer and far side against the two outer ones. On a layer
/// the metal ends at the greater of its reach and that layer's own copper.
Judged judge_layers(const std::vector<LayerOfHole>& layers, const Scale& scale, const Judging& with);

} // namespace ringwall::screwfit
