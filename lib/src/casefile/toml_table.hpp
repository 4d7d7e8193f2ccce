// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/limits.hpp"

#include <array>
#include <limits>
#include <optional>
#include <string>
#include <toml++/toml.h>
#include <utility>
#include <vector>

namespace ringwall {

inline constexpr double infinity = std::numeric_limits<double>::infinity();

/// Throws Error(input), "FILE, line 3: no TOML: ...", for a decimal comma or a text that is no UTF-8 in words
/// of their own.
toml::table parse_toml(const std::string& bytes, const std::string& file);
/// A value for the end of an error line, as the person wrote it.
std::string as_written(const toml::node& node);

/// One table of a file, with the words an error needs. Everything that reads a value throws Error(input), one
/// line: file, line, key, what was expected, what stands there. A key that is not there is no error.
class TomlTable {
  public:
    TomlTable(const toml::table& table, std::string name, std::string file)
        : table_(table), name_(std::move(name)), file_(std::move(file)) {}

    /// "FILE, line 3: key [screw] name": the start of an error line.
    [[nodiscard]] std::string place(const std::string& key) const;
    [[noreturn]] void fail(const std::string& key, const toml::node& node, const std::string& expected) const;
    [[noreturn]] void missing(const std::string& key, const std::string& expected) const;
    [[nodiscard]] const toml::node* find(const std::string& key) const { return table_.get(key); }
    [[nodiscard]] const toml::table& table() const { return table_; }
    [[nodiscard]] int line() const { return static_cast<int>(table_.source().begin.line); }

    [[nodiscard]] std::optional<std::string> text(const std::string& key) const;
    [[nodiscard]] std::string text_or_empty(const std::string& key) const;
    /// 64 hexadecimal digits, given back in small letters.
    [[nodiscard]] std::string sha256_or_empty(const std::string& key) const;
    /// A date or time may stand without quotes.
    [[nodiscard]] std::string text_or_date(const std::string& key) const;
    /// One text or a list of them, put together with commas.
    [[nodiscard]] std::string texts(const std::string& key) const;
    [[nodiscard]] std::optional<bool> truth(const std::string& key) const;
    [[nodiscard]] std::optional<int> whole(const std::string& key, int least,
                                           const std::string& expected) const;
    /// `low` < value < `high`, or the error says `expected`.
    [[nodiscard]] std::optional<double> number(const std::string& key, double low, double high,
                                               const std::string& expected) const;
    [[nodiscard]] double number_of(const std::string& key, const toml::node& node, double low, double high,
                                   const std::string& expected) const;
    [[nodiscard]] std::optional<double> number(const std::string& key, const Limits& limits) const;
    [[nodiscard]] double number_of(const std::string& key, const toml::node& node,
                                   const Limits& limits) const;
    /// Finite numbers, each over `low`.
    [[nodiscard]] std::optional<std::array<double, 2>> pair(const std::string& key, double low,
                                                            const std::string& expected) const;

    template<typename T>
    using Choices = std::vector<std::pair<std::string, T>>;
    template<typename T>
    void choice(const std::string& key, const Choices<T>& words, T& target) const {
        const toml::node* node = find(key);
        if (node == nullptr) return;
        std::string all;
        for (const auto& [name, value] : words) {
            if (node->value_exact<std::string>() == name) {
                target = value;
                return;
            }
            all += (all.empty() ? "\"" : ", \"") + name + "\"";
        }
        fail(key, *node, "one of " + all);
    }
    /// A word that stays a word.
    void choice(const std::string& key, const std::vector<std::string>& words, std::string& target) const;

  private:
    [[nodiscard]] std::string key_words(const std::string& key) const;
    const toml::table& table_;
    std::string name_; ///< "": the file itself
    std::string file_;
};

} // namespace ringwall
