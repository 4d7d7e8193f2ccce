// SPDX-License-Identifier: Apache-2.0
#include "casefile/toml_table.hpp"

#include "core/text.hpp"
#include "core/utf8.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <sstream>

namespace ringwall {
namespace {

std::string streamed(const toml::node& node) {
    std::ostringstream text;
    text.imbue(std::locale::classic());
    node.visit([&](const auto& value) { text << value; });
    return text.str();
}

std::string line_of(const toml::node& node) {
    return ", line " + std::to_string(node.source().begin.line);
}

std::string line_at(const std::string& bytes, std::size_t number) {
    std::istringstream lines(bytes);
    std::string line;
    for (std::size_t i = 0; i < number; ++i)
        std::getline(lines, line);
    return line;
}

/// The value of "key = 0,025", where a comma stands between figures; empty: none does.
std::string decimal_comma(const std::string& line) {
    const auto equals = line.find('=');
    if (equals == std::string::npos) return {};
    const auto from = line.find_first_not_of(" \t", equals + 1);
    const auto to = line.find_first_not_of("0123456789,.+-eE_", from);
    const std::string value = from == std::string::npos ? "" : line.substr(from, to - from);
    const auto comma = value.find(',');
    const auto figure = [&](std::size_t i) { return i < value.size() && value[i] >= '0' && value[i] <= '9'; };
    return comma != std::string::npos && comma > 0 && figure(comma - 1) && figure(comma + 1) ? value : "";
}

/// The parser's own words are about its grammar; a decimal comma is what a person needs to hear of.
std::string fault_words(const std::string& line, std::string_view description) {
    const std::string value = decimal_comma(line);
    if (value.empty()) return "no TOML: " + std::string(description);
    return "expected a number with a decimal point, got " + value;
}

} // namespace

toml::table parse_toml(const std::string& bytes, const std::string& file) {
    check_utf8(bytes, file);
    try {
        return toml::parse(bytes, file);
    } catch (const toml::parse_error& error) {
        const auto line = error.source().begin.line;
        throw Error(Fault::input, file + ", line " + std::to_string(line) + ": " +
                                      fault_words(line_at(bytes, line), error.description()));
    }
}

std::string as_written(const toml::node& node) {
    if (const auto* number = node.as_floating_point()) return brief(number->get());
    std::string shown = streamed(node);
    std::replace(shown.begin(), shown.end(), '\n', ' ');
    return shown.size() > 40 ? shown.substr(0, 37) + "..." : shown;
}

std::string TomlTable::key_words(const std::string& key) const {
    return ": key " + (name_.empty() ? "" : "[" + name_ + "] ") + key;
}

std::string TomlTable::place(const std::string& key) const {
    const toml::node* node = find(key);
    return file_ + line_of(node != nullptr ? *node : table_) + key_words(key);
}

void TomlTable::fail(const std::string& key, const toml::node& node, const std::string& expected) const {
    throw Error(Fault::input, file_ + line_of(node) + key_words(key) + ": expected " + expected + ", got " +
                                  as_written(node));
}

void TomlTable::missing(const std::string& key, const std::string& expected) const {
    throw Error(Fault::input, place(key) + ": expected " + expected + ", got nothing");
}

std::optional<std::string> TomlTable::text(const std::string& key) const {
    const toml::node* node = find(key);
    if (node == nullptr) return std::nullopt;
    auto value = node->value_exact<std::string>();
    if (!value) fail(key, *node, "text in quotes");
    return value;
}

std::string TomlTable::text_or_empty(const std::string& key) const {
    return text(key).value_or("");
}

std::string TomlTable::sha256_or_empty(const std::string& key) const {
    std::string digits = text_or_empty(key);
    for (char& c : digits)
        if (c >= 'A' && c <= 'F') c = static_cast<char>(c - 'A' + 'a');
    const bool whole =
        digits.size() == 64 && digits.find_first_not_of("0123456789abcdef") == std::string::npos;
    if (!digits.empty() && !whole) fail(key, *find(key), "a SHA-256 of 64 hexadecimal digits");
    return digits;
}

std::string TomlTable::text_or_date(const std::string& key) const {
    const toml::node* node = find(key);
    const bool date = node != nullptr && (node->is_date() || node->is_time() || node->is_date_time());
    return date ? streamed(*node) : text_or_empty(key);
}

std::string TomlTable::texts(const std::string& key) const {
    const toml::node* node = find(key);
    const toml::array* list = node == nullptr ? nullptr : node->as_array();
    if (list == nullptr) return text_or_empty(key);
    std::string all;
    for (const auto& item : *list) {
        const auto value = item.value_exact<std::string>();
        if (!value) fail(key, item, "text in quotes");
        all += (all.empty() ? "" : ", ") + *value;
    }
    return all;
}

std::optional<bool> TomlTable::truth(const std::string& key) const {
    const toml::node* node = find(key);
    if (node == nullptr) return std::nullopt;
    const auto value = node->value_exact<bool>();
    if (!value) fail(key, *node, "true or false");
    return value;
}

std::optional<int> TomlTable::whole(const std::string& key, int least, const std::string& expected) const {
    const toml::node* node = find(key);
    if (node == nullptr) return std::nullopt;
    const auto value = node->value_exact<std::int64_t>();
    if (!value || *value < least || *value > std::numeric_limits<int>::max()) fail(key, *node, expected);
    return static_cast<int>(*value);
}

std::optional<double> TomlTable::number(const std::string& key, double low, double high,
                                        const std::string& expected) const {
    const toml::node* node = find(key);
    return node == nullptr ? std::nullopt : std::optional(number_of(key, *node, low, high, expected));
}

double TomlTable::number_of(const std::string& key, const toml::node& node, double low, double high,
                            const std::string& expected) const {
    const auto value = node.is_number() ? node.value<double>() : std::nullopt;
    if (!value || !(*value > low && *value < high)) fail(key, node, expected);
    return *value;
}

std::optional<double> TomlTable::number(const std::string& key, const Limits& limits) const {
    const toml::node* node = find(key);
    return node == nullptr ? std::nullopt : std::optional(number_of(key, *node, limits));
}

double TomlTable::number_of(const std::string& key, const toml::node& node, const Limits& limits) const {
    const double value = number_of(key, node, -infinity, infinity, limits.expected);
    if (!limits.hold(value)) fail(key, node, limits.expected);
    return value;
}

std::optional<std::array<double, 2>> TomlTable::pair(const std::string& key, double low,
                                                     const std::string& expected) const {
    const toml::node* node = find(key);
    if (node == nullptr) return std::nullopt;
    const toml::array* array = node->as_array();
    if (array == nullptr || array->size() != 2) fail(key, *node, expected);
    return std::array{number_of(key, *array->get(0), low, infinity, expected),
                      number_of(key, *array->get(1), low, infinity, expected)};
}

void TomlTable::choice(const std::string& key, const std::vector<std::string>& words,
                       std::string& target) const {
    Choices<std::string> choices;
    choices.reserve(words.size());
    for (const auto& each : words)
        choices.emplace_back(each, each);
    choice<std::string>(key, choices, target);
}

} // namespace ringwall
