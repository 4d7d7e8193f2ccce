// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

namespace ringwall {

/// Takes out of the record every text that a person can word freely, since a name may stand in any of them:
/// serial, lot, custody, who took a picture, read the meter or decided and why, set-ups, notes, instruments.
/// Of them stay dates in figures, words from the fixed lists of the case file's description, and the own
/// names of files without their folders. The table in the source is the one list of such texts.
///
/// Labels stay, since without them no finding can be told from another: board, revision, unit, names and
/// purposes of holes, points of the meter log, the screw. What was taken out, and only that, stands in
/// `left_out` by its key in the results file; a warning names what stays. Sentences made from these texts
/// must be written afterwards.
void leave_out_private(BoardRecord& record);

} // namespace ringwall
