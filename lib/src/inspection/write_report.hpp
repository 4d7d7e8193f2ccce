// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "report/report.hpp"
#include "ringwall/record.hpp"

#include <string>

namespace ringwall {

/// The figures of a report: the marked picture and those of the holes that get a page, one after the other,
/// so that no more than one is held as pixels. `t`: transmission of the record's first source (or its values
/// as stored, where there is no transmission); holes of other sources have only their line drawings.
ReportPictures report_pictures(const BoardRecord& record, ImageView<const float> t);

} // namespace ringwall
