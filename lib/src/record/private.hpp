// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

namespace ringwall {

/// Takes out of the record what names a unit's owner, a person or a place: serial and lot, custody, who took
/// a picture, read the meter or decided, and the folders of file names. What was taken out, and only that,
/// stands in `left_out` by its key in the results file; a warning says what this cannot remove: text burned
/// into a picture, and names inside free text. The record's own comparisons are not touched: call it last.
void leave_out_private(BoardRecord& record);

} // namespace ringwall
