// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

namespace ringwall {

struct CsvRow {
    int line = 0; ///< where it begins, counted from 1
    std::vector<std::string> fields;
};

/// The rows of a CSV text (RFC 4180: commas, quotes doubled inside quotes, line ends inside quotes; LF or
/// CRLF). Fields keep their spaces. Empty lines are left out, as are the three bytes that mark UTF-8 at the
/// start. Throws Error(input) with `file` and line: bytes that are no UTF-8, a quote inside a field that has
/// none around it, text behind a closing quote, a quote that does not end.
std::vector<CsvRow> csv_rows(const std::string& bytes, const std::string& file);

} // namespace ringwall
