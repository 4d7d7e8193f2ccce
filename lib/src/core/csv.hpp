// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "core/csv_rows.hpp"

#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// A field of text as it is written: in quotes where it holds what separates fields (RFC 4180).
std::string csv_field(const std::string& text);

/// A CSV text: the header's names and the rows below it, as csv_rows cuts them; spaces round a field are
/// dropped.
class CsvTable {
  public:
    /// `name` stands in errors. Throws Error(input): no header, a quote left open, a row with more or fewer
    /// fields.
    CsvTable(const std::string& text, std::string name);

    [[nodiscard]] const std::vector<CsvRow>& rows() const { return rows_; }
    [[nodiscard]] bool has(const std::string& column) const { return place(column).has_value(); }
    /// Empty where the table has no such column.
    [[nodiscard]] std::string text(const CsvRow& row, const std::string& column) const;
    /// Nothing where the field is empty; throws Error(input) naming line and column when it is no finite
    /// number.
    [[nodiscard]] std::optional<double> number(const CsvRow& row, const std::string& column) const;
    [[noreturn]] void fail(const CsvRow& row, const std::string& column, const std::string& expected) const;

  private:
    [[nodiscard]] std::optional<std::size_t> place(const std::string& column) const;
    std::string name_;
    std::vector<std::string> columns_;
    std::vector<CsvRow> rows_;
};

} // namespace ringwall
