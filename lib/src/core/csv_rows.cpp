// SPDX-License-Identifier: Apache-2.0
#include "core/csv_rows.hpp"

#include "ringwall/error.hpp"

#include <cstdint>

namespace ringwall {
namespace {

[[noreturn]] void fail(const std::string& file, int line, const std::string& what) {
    throw Error(Fault::input, file + ", line " + std::to_string(line) + ": " + what);
}

/// Bytes that the character starting at `at` takes; 0: no UTF-8 (RFC 3629; overlong forms and surrogates are
/// none either).
std::size_t utf8_length(const std::string& bytes, std::size_t at) {
    const auto byte = [&](std::size_t i) {
        return i < bytes.size() ? static_cast<std::uint8_t>(bytes[i]) : std::uint8_t{0};
    };
    const unsigned first = byte(at);
    if (first < 0x80) return first == 0 ? 0 : 1;
    const std::size_t length = first >= 0xF0 ? 4 : first >= 0xE0 ? 3 : 2;
    if (first < 0xC2 || first > 0xF4) return 0;
    for (std::size_t i = 1; i < length; ++i)
        if ((byte(at + i) & 0xC0U) != 0x80U) return 0;
    const unsigned second = byte(at + 1);
    const bool overlong = (first == 0xE0 && second < 0xA0) || (first == 0xF0 && second < 0x90);
    const bool outside = (first == 0xED && second > 0x9F) || (first == 0xF4 && second > 0x8F);
    return overlong || outside ? 0 : length;
}

void check_utf8(const std::string& bytes, const std::string& file) {
    int line = 1;
    for (std::size_t at = 0; at < bytes.size();) {
        const std::size_t length = utf8_length(bytes, at);
        if (length == 0) fail(file, line, "expected text in UTF-8, got other bytes");
        if (bytes[at] == '\n') ++line;
        at += length;
    }
}

class CsvReader {
  public:
    CsvReader(const std::string& bytes, const std::string& file) : bytes_(bytes), file_(file) {
        if (bytes_.starts_with("\xEF\xBB\xBF")) at_ = 3;
    }

    std::vector<CsvRow> rows() {
        std::vector<CsvRow> rows;
        while (at_ < bytes_.size()) {
            CsvRow row = next_row();
            const bool empty = row.fields.size() == 1 && row.fields[0].empty();
            if (!empty) rows.push_back(std::move(row));
        }
        return rows;
    }

  private:
    CsvRow next_row() {
        CsvRow row;
        row.line = line_;
        do
            row.fields.push_back(peek() == '"' ? quoted_field() : plain_field());
        while (take(','));
        if (peek() == '\r') ++at_;
        if (at_ < bytes_.size() && !take('\n'))
            fail(file_, line_, "expected a comma or the end of the line behind a closing quote");
        ++line_;
        return row;
    }
    [[nodiscard]] char peek() const { return at_ < bytes_.size() ? bytes_[at_] : '\0'; }
    bool take(char wanted) {
        if (peek() != wanted || at_ >= bytes_.size()) return false;
        ++at_;
        return true;
    }

    std::string plain_field() {
        const std::size_t end = std::min(bytes_.find_first_of(",\"\r\n", at_), bytes_.size());
        if (end < bytes_.size() && bytes_[end] == '"')
            fail(file_, line_, "expected quotes round the whole field, got one inside it");
        std::string field = bytes_.substr(at_, end - at_);
        at_ = end;
        return field;
    }

    std::string quoted_field() {
        const int begins = line_;
        std::string field;
        ++at_;
        while (at_ < bytes_.size()) {
            const char c = bytes_[at_++];
            if (c == '"' && !take('"')) return field;
            if (c == '\n') ++line_;
            field += c;
        }
        fail(file_, begins, "expected a closing quote, got the end of the file");
    }

    const std::string& bytes_;
    const std::string& file_;
    std::size_t at_ = 0;
    int line_ = 1;
};

} // namespace

std::vector<CsvRow> csv_rows(const std::string& bytes, const std::string& file) {
    check_utf8(bytes, file);
    return CsvReader(bytes, file).rows();
}

} // namespace ringwall
