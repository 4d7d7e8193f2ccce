// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/compare.hpp"

#include <string>

namespace ringwall::compare {

/// The comparison in one paragraph of plain words: how the boards were laid on each other; every hole that a
/// screw was judged in or a person named (of many, those that changed first), the rest counted; thickness and
/// copper layers; what the change leaves open. A difference is stated only where `beyond` says so. Never
/// "safe", "fixed", "enough".
std::string answer_of(const Comparison& comparison, const BoardRecord& old_board,
                      const BoardRecord& revised_board);

/// "wider by 0.310 ±0.042 mm", "no change shown": of one number of a pair.
std::string delta_words(const Delta& delta, const std::string& more, const std::string& less);

} // namespace ringwall::compare
