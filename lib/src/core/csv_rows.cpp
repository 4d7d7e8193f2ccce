// SPDX-License-Identifier: Apache-2.0
#include "core/csv_rows.hpp"

#include "core/utf8.hpp"
#include "ringwall/error.hpp"

namespace ringwall {
namespace {

[[noreturn]] void fail(const std::string& file, int line, const std::string& what) {
    throw Error(Fault::input, file + ", line " + std::to_string(line) + ": " + what);
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
