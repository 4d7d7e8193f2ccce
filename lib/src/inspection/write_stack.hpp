// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "inspection/inspect_stack.hpp"
#include "report/report.hpp"
#include "ringwall/record.hpp"

#include <filesystem>
#include <functional>
#include <vector>

namespace ringwall {

/// Wall maps of the holes that get a page in the report, put into `pictures` as addresses. `stack` is the
/// record's.
void add_wall_maps(const BoardRecord& record, const StackProducts& stack, ReportPictures& pictures);

/// The files that a slice stack adds to a results folder, a piece of work each: an overlay per layer (and
/// with it the layer's figure of the report, into `pictures`), a wall map per hole.
std::vector<std::function<void()>> stack_picture_work(const BoardRecord& record, const StackProducts& stack,
                                                      const std::filesystem::path& folder,
                                                      ReportPictures& pictures);

} // namespace ringwall
