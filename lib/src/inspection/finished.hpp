// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/inspection.hpp"

#include <cstdint>
#include <string>

namespace ringwall {

/// What needs all holes: case facts, meter, other evidence, what is left out as private, the warnings.
BoardRecord finished_record(BoardRecord record, const InspectRequest& request);

/// Seed of random draws, from a source's SHA-256 (hex).
std::uint64_t seed_of(const std::string& sha256);

} // namespace ringwall
