// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/inspection.hpp"

namespace ringwall {

/// Whether a point of the picture lies in the hole; one without a bore still has a centre.
bool lies_in(const HoleRecord& hole, Point at_px);

/// The hole of the case in which `hole` lies: its place within the bore; null when there is none. Depends on
/// this hole alone.
const CaseHole* case_hole_at(const HoleRecord& hole, const std::vector<CaseHole>& case_holes);

/// Gives the hole the name and purpose that the case states, and the reason why no screw is judged in it so
/// far. Depends on this hole alone.
void add_case_words(HoleRecord& hole, const InspectRequest& request);

/// The screw that sits in the hole: its own, else the case's; null where none is given or a person says that
/// there is none.
const Screw* screw_in(const HoleRecord& hole, const InspectRequest& request);

/// Puts what the case states into a record whose holes are measured and named: intake, custody, picture
/// notes, screw, rule, continuity log, hand measurements beside the picture's.
void add_case_facts(BoardRecord& record, const InspectRequest& request);

/// Warnings for contradictions, for holes of the case that are not in the picture, for names that are another
/// hole's id and for parts of a rule that are not used. They quote the record's facts: to be added when what
/// is private was left out of these.
void add_case_warnings(BoardRecord& record, const InspectRequest& request);

} // namespace ringwall
