// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/radiograph.hpp"

#include <string>
#include <vector>

namespace ringwall {

/// What the file itself says against measuring on it, as sentences for the results: few bits, lossy, colour,
/// and the reader's own notes.
std::vector<std::string> warnings_of_facts(const SourceFacts& facts);

} // namespace ringwall
