// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "report/report.hpp"
#include "ringwall/record.hpp"

#include <functional>
#include <string>
#include <vector>

namespace ringwall {

/// The figures of a report: the marked picture and those of the holes that get a page. `t`: transmission of
/// the record's first source (or its values as stored, where there is no transmission); holes of other
/// sources have only their line drawings.
ReportPictures report_pictures(const BoardRecord& record, ImageView<const float> t);

/// The same as pieces of work that may run side by side, one figure or hole each, so that a thread holds no
/// more than one as pixels; `pictures` is complete when all are done. Everything must outlive the pieces.
std::vector<std::function<void()>> report_picture_work(const BoardRecord& record, ImageView<const float> t,
                                                       ReportPictures& pictures);

/// The edge-on picture with its marks, for the report.
std::string edge_overlay_address(ImageView<const float> t, const BoardRecord& record);

} // namespace ringwall
