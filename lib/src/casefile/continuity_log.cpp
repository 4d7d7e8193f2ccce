// SPDX-License-Identifier: Apache-2.0
#include "casefile/continuity_log.hpp"

#include "core/csv_rows.hpp"
#include "core/swapped_folder.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <optional>

namespace ringwall {
namespace {

constexpr std::size_t most_bytes = std::size_t{4} << 20; // a log is typed by hand

constexpr std::array columns{"a",        "b",         "expect", "reading",       "ohms", "behaviour", "setup",
                             "polarity", "lead_ohms", "meter",  "calibrated_on", "when", "by",        "note"};
constexpr std::array needed{"a", "b", "reading"};
/// The leads of a common meter alone show some tenths of an ohm; a meter that shows less than this saw a
/// joint. Common practice, no source.
constexpr double least_open_ohms = 1;

std::string trimmed(const std::string& text) {
    const auto from = text.find_first_not_of(" \t"), to = text.find_last_not_of(" \t");
    return from == std::string::npos ? "" : text.substr(from, to - from + 1);
}

std::string shown(const std::string& text) {
    if (text.empty()) return "nothing";
    return text.size() > 40 ? text.substr(0, 37) + "..." : text;
}

class LogReader {
  public:
    explicit LogReader(const std::filesystem::path& file)
        : name_(file.string()), short_name_(file.filename().string()) {}

    ContinuityLog read(const std::string& bytes) {
        const std::vector<CsvRow> rows = csv_rows(bytes, name_);
        if (rows.empty())
            throw Error(Fault::input, name_ + ": expected a first line with the columns' names, got nothing");
        read_header(rows.front());
        for (std::size_t i = 1; i < rows.size(); ++i)
            add(reading_of(rows[i]));
        if (log_.readings.empty()) log_.warnings.push_back(short_name_ + ": holds no reading");
        return std::move(log_);
    }

  private:
    [[noreturn]] void fail(const std::string& column, const std::string& expected,
                           const std::string& got) const {
        throw Error(Fault::input, name_ + ", line " + std::to_string(row_->line) + ", column " + column +
                                      ": expected " + expected + ", got " + shown(got));
    }

    void read_header(const CsvRow& row) {
        row_ = &row;
        if (row.fields.size() == 1 && row.fields[0].find(';') != std::string::npos)
            fail("1", "columns apart by commas", row.fields[0]);
        for (const std::string& field : row.fields) {
            const std::string name = trimmed(field);
            if (std::find(names_.begin(), names_.end(), name) != names_.end())
                fail(name, "every column once", "it twice");
            if (std::find(columns.begin(), columns.end(), name) == columns.end())
                log_.warnings.push_back(short_name_ + ", line " + std::to_string(row.line) + ": column " +
                                        shown(name) + " is unknown and ignored");
            names_.push_back(name);
        }
        for (const char* name : needed)
            if (std::find(names_.begin(), names_.end(), name) == names_.end())
                fail(name, "a column of that name in the first line", "");
    }

    [[nodiscard]] std::string text(const std::string& column) const {
        const auto at = std::find(names_.begin(), names_.end(), column);
        return at == names_.end() ? "" : trimmed(row_->fields[static_cast<std::size_t>(at - names_.begin())]);
    }

    [[nodiscard]] std::optional<double> ohms(const std::string& column) const {
        const std::string written = text(column);
        if (written.empty()) return std::nullopt;
        const std::string expected =
            "a resistance of 0 ohm or more with a decimal point, or nothing where the meter shows no number";
        double value = 0;
        const auto [end, error] = std::from_chars(written.data(), written.data() + written.size(), value);
        const bool whole = error == std::errc() && end == written.data() + written.size();
        if (!whole || !std::isfinite(value) || value < 0) fail(column, expected, written);
        return value;
    }

    [[nodiscard]] std::optional<Joint> joint(const std::string& column) const {
        const std::string written = text(column);
        if (written.empty()) return std::nullopt;
        if (written != "open" && written != "joined") fail(column, "open or joined", written);
        return written == "open" ? Joint::open : Joint::joined;
    }

    [[nodiscard]] ReadingBehaviour behaviour() const {
        const std::string written = text("behaviour");
        if (written.empty()) return ReadingBehaviour::unknown;
        if (written == "steady") return ReadingBehaviour::steady;
        if (written == "rising") return ReadingBehaviour::rising;
        if (written == "falling") return ReadingBehaviour::falling;
        fail("behaviour", "steady, rising, falling or nothing", written);
    }

    [[nodiscard]] std::string place(const std::string& column) const {
        std::string point = text(column);
        if (point.empty()) fail(column, "a hole or a pin", point);
        return point;
    }

    void check_width() const {
        const std::size_t got = row_->fields.size();
        if (got == names_.size()) return;
        throw Error(
            Fault::input,
            name_ + ", line " + std::to_string(row_->line) + ": expected " + std::to_string(names_.size()) +
                " fields as in the first line, got " + std::to_string(got) +
                (got > names_.size() ? " (a decimal comma, or a comma in a text without quotes?)" : ""));
    }

    ContinuityReading reading_of(const CsvRow& row) {
        row_ = &row;
        check_width();
        ContinuityReading reading;
        reading.line = row.line;
        reading.a = place("a");
        reading.b = place("b");
        if (reading.a == reading.b) fail("b", "another point than in column a", reading.b);
        reading.expect = joint("expect");
        const auto found = joint("reading");
        if (!found) fail("reading", "open or joined", "");
        reading.reading = *found;
        reading.ohms = ohms("ohms");
        if (reading.reading == Joint::open && reading.ohms && *reading.ohms < least_open_ohms)
            fail("ohms", "1 ohm or more beside the reading open", text("ohms"));
        reading.behaviour = behaviour();
        reading.lead_ohms = ohms("lead_ohms");
        read_words(reading);
        return reading;
    }

    /// Free words, but what looks like a day of the calendar must be one.
    std::string day(const char* column) const {
        std::string words = text(column);
        int year = 0, month = 0, of_month = 0;
        const bool dated = words.size() >= 10 && words[4] == '-' && words[7] == '-' &&
                           std::sscanf(words.c_str(), "%4d-%2d-%2d", &year, &month, &of_month) == 3;
        const std::chrono::year_month_day date{
            std::chrono::year(year), std::chrono::month(static_cast<unsigned>(std::max(month, 0))),
            std::chrono::day(static_cast<unsigned>(std::max(of_month, 0)))};
        if (dated && !date.ok()) fail(column, "a day that the calendar has, as 2026-04-06", words);
        return words;
    }

    void read_words(ContinuityReading& reading) const {
        reading.setup = text("setup");
        reading.polarity = text("polarity");
        reading.meter = text("meter");
        reading.calibrated_on = day("calibrated_on");
        reading.when = day("when");
        reading.by = text("by");
        reading.note = text("note");
    }

    void add(ContinuityReading reading) {
        const auto same =
            std::find_if(log_.readings.begin(), log_.readings.end(), [&](ContinuityReading other) {
                other.line = reading.line;
                return other == reading;
            });
        if (same != log_.readings.end())
            log_.warnings.push_back(short_name_ + ", line " + std::to_string(reading.line) +
                                    ": repeats line " + std::to_string(same->line) + " in every field");
        log_.readings.push_back(std::move(reading));
    }

    std::string name_, short_name_;
    std::vector<std::string> names_;
    const CsvRow* row_ = nullptr;
    ContinuityLog log_;
};

} // namespace

ContinuityLog read_continuity_log(const std::filesystem::path& file) {
    return LogReader(file).read(read_whole_file(file, most_bytes));
}

} // namespace ringwall
