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

/// Cuts a CSV text into rows, field by field.
class Cutter {
  public:
    Cutter(const std::string& text, const std::string& name) : text_(text), name_(name) {
        if (text_.starts_with("\xEF\xBB\xBF")) at_ = 3;
    }

    std::vector<CsvRow> rows() {
        std::vector<CsvRow> all;
        while (at_ < text_.size()) {
            CsvRow row = next();
            if (row.fields.size() > 1 || !row.fields.front().empty()) all.push_back(std::move(row));
        }
        return all;
    }

  private:
    CsvRow next() {
        CsvRow row{line_, {}};
        bool more = true;
        while (more)
            row.fields.push_back(field(more));
        return row;
    }

    /// `more`: whether a comma followed.
    std::string field(bool& more) {
        std::string raw;
        const auto start = text_.find_first_not_of(" \t", at_);
        const bool quoted = start != std::string::npos && text_[start] == '"';
        if (quoted) {
            at_ = start + 1;
            raw = inside_quotes();
        }
        std::string rest;
        while (at_ < text_.size() && text_[at_] != ',' && text_[at_] != '\n')
            rest += text_[at_++];
        if (!rest.empty() && rest.back() == '\r') rest.pop_back();
        more = at_ < text_.size() && text_[at_] == ',';
        if (at_ < text_.size()) {
            line_ += text_[at_] == '\n';
            ++at_;
        }
        if (!quoted) return trimmed(rest);
        if (!trimmed(rest).empty()) fail("expected a comma after the closing quote, got " + trimmed(rest));
        return raw;
    }

    std::string inside_quotes() {
        std::string raw;
        const int from = line_;
        while (at_ < text_.size()) {
            const char c = text_[at_++];
            if (c == '"' && (at_ >= text_.size() || text_[at_] != '"')) return raw;
            if (c == '"') ++at_;
            line_ += c == '\n';
            raw += c;
        }
        line_ = from;
        fail("a quote is opened and never closed");
    }

    [[noreturn]] void fail(const std::string& why) const {
        throw Error(Fault::input, name_ + ", line " + std::to_string(line_) + ": " + why);
    }

    const std::string& text_;
    const std::string& name_;
    std::size_t at_ = 0;
    int line_ = 1;
};

} // namespace

CsvTable::CsvTable(const std::string& text, std::string name) : name_(std::move(name)) {
    rows_ = Cutter(text, name_).rows();
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
