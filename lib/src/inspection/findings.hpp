// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "ringwall/inspection.hpp"
#include "screwfit/fit_screw.hpp"

#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// Thinnest copper that must be assumed, um: as stated, else 0.7 of the stated foil (what processing may
/// leave), else 11 (half an ounce of foil after processing, IPC-6012: 11.4).
double thinnest_foil_assumed_um(const InspectRequest& request);

/// What a picture or stack shows beside one hole.
struct ShownBeside {
    std::optional<double> thinnest_um; ///< copper that would have shown
    /// Of a slice stack: screwfit::Judging::stack_forbids, the layers, and the board as thick as it was
    /// measured. Face-on: no layers.
    std::vector<std::string> stack_forbids = {};
    std::vector<screwfit::LayerOfHole> layers = {};
    std::optional<double> measured_board_mm = {};
};

/// Judges the screw in one finished hole; the record then has `screw`, or `screw_why`, and its lines of the
/// budget. Throws Error(usage) for a rule that is half given.
void judge_screw(HoleRecord& record, const Hole& hole, const Scale& scale, const InspectRequest& request,
                 const ShownBeside& shown);

/// Sets the continuity log beside the pictures, once all holes are judged and named.
void add_meter(BoardRecord& record);

/// Takes back what other evidence contradicts, once meter and hand measurements stand beside the pictures: no
/// gap is shown at a hole whose meter reading contradicts the picture, and no finding that rests on lengths
/// where a hand measurement of that hole does. Also leaves out of "what would decide it" the readings that
/// were made already.
void weigh_other_evidence(BoardRecord& record);

} // namespace ringwall
