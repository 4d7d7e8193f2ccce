// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "meter/reading.hpp"

#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// Sentences about readings between two pins: supply to ground by the rules of meter/agreement.hpp, others
/// kept and named.
std::vector<std::string> pin_sentences(std::span<const Reading> readings);
/// Sentences about what the log leaves open: points that name nothing measured, set-up facts not said, the
/// other polarity.
std::vector<std::string> log_sentences(std::span<const Reading> readings);

} // namespace ringwall
