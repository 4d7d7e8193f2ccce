// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/continuity.hpp"

#include <filesystem>
#include <string>
#include <vector>

namespace ringwall {

struct ContinuityLog {
    std::vector<ContinuityReading> readings; ///< in the file's order
    std::vector<std::string> warnings;       ///< "meter.csv, line 7: ...", without a folder
};

/// Reads a continuity log: CSV (RFC 4180, commas, quotes where a field holds one) in UTF-8, lines ended by LF
/// or CRLF, the columns of contract.md named in the first line in any order. a, b and reading must be there;
/// of the others a column or a value may be missing. Empty lines are skipped. Numbers have a decimal point.
///
/// The same points may be read several times with different outcomes: that is data. A row that repeats
/// another one in every field gives a warning, an unknown column too. Throws Error(input), one line with
/// file, line, column, expected, got: not readable, no UTF-8, a quote that does not end, too many or too few
/// fields, a word that is none of the column's, a number with a comma, below 0 or not finite, two points that
/// are the same, an open reading under 1 ohm.
ContinuityLog read_continuity_log(const std::filesystem::path& file);

} // namespace ringwall
