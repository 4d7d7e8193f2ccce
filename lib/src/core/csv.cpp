// SPDX-License-Identifier: Apache-2.0
#include "core/csv.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

namespace ringwall {
namespace {

std::string trimmed(const std::string& text) {
    const auto first = text.find_first_not_of(" \t");
    if (first == std::string::npos) return {};
    return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

} // namespace

std::string csv_field(const std::string& text) {
    if (text.find_first_of(",\"\n\r") == std::string::npos) return text;
    std::string field = "\"";
    for (const char c : text)
        field += c == '"' ? std::string("\"\"") : std::string(1, c);
    return field + "\"";
}

CsvTable::CsvTable(const std::string& text, std::string name) : name_(std::move(name)) {
    rows_ = csv_rows(text, name_);
    for (CsvRow& row : rows_)
        for (std::string& field : row.fields)
            field = trimmed(field);
    if (rows_.empty())
        throw Error(Fault::input, name_ + ": expected a header line with column names, got nothing");
    columns_ = std::move(rows_.front().fields);
    rows_.erase(rows_.begin());
    for (const CsvRow& row : rows_) {
        if (row.fields.size() == columns_.size()) continue;
        throw Error(Fault::input,
                    name_ + ", line " + std::to_string(row.line) + ": expected " +
                        std::to_string(columns_.size()) + " fields like the header, got " +
                        std::to_string(row.fields.size()) +
                        (row.fields.size() > columns_.size() ? " (a decimal comma needs a point)" : ""));
    }
}

std::optional<std::size_t> CsvTable::place(const std::string& column) const {
    const auto found = std::find(columns_.begin(), columns_.end(), column);
    if (found == columns_.end()) return std::nullopt;
    return static_cast<std::size_t>(found - columns_.begin());
}

std::string CsvTable::text(const CsvRow& row, const std::string& column) const {
    const auto at = place(column);
    return at ? row.fields[*at] : std::string();
}

std::optional<double> CsvTable::number(const CsvRow& row, const std::string& column) const {
    const std::string field = text(row, column);
    if (field.empty()) return std::nullopt;
    double value = 0;
    const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), value);
    if (error != std::errc() || end != field.data() + field.size() || !std::isfinite(value))
        fail(row, column, "a number with a decimal point");
    return value;
}

void CsvTable::fail(const CsvRow& row, const std::string& column, const std::string& expected) const {
    throw Error(Fault::input, name_ + ", line " + std::to_string(row.line) + ", column " + column +
                                  ": expected " + expected + ", got \"" + text(row, column) + "\"");
}

} // namespace ringwall
