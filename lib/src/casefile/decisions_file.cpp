// SPDX-License-Identifier: Apache-2.0
#include "casefile/toml_table.hpp"
#include "core/swapped_folder.hpp"
#include "core/text.hpp"
#include "ringwall/decision.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <cmath>
#include <unistd.h>

namespace ringwall {
namespace {

constexpr std::size_t most_bytes = std::size_t{16} << 20;
constexpr int schema = 1;
constexpr const char* head =
    "# What persons decided about the case beside this file. Written by ringwall, which refuses what it did\n"
    "# not write: notes belong into the case file.\n";

const TomlTable::Choices<Decision::Act>& acts() {
    static const TomlTable::Choices<Decision::Act> words{{"hole added", Decision::Act::add_hole},
                                                         {"hole struck out", Decision::Act::strike_out},
                                                         {"wall state set", Decision::Act::set_wall},
                                                         {"scale set", Decision::Act::set_scale}};
    return words;
}

const TomlTable::Choices<WallState>& walls() {
    static const TomlTable::Choices<WallState> words{{"plated", WallState::plated},
                                                     {"bare", WallState::bare},
                                                     {"incomplete", WallState::incomplete},
                                                     {"undecided", WallState::undecided}};
    return words;
}

template<typename T>
std::string word_of(const TomlTable::Choices<T>& words, T value) {
    const auto found =
        std::find_if(words.begin(), words.end(), [&](const auto& pair) { return pair.second == value; });
    return found->first;
}

/// A TOML basic string.
std::string quoted(const std::string& text) {
    constexpr const char* digits = "0123456789ABCDEF";
    std::string line = "\"";
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x20 || byte == 0x7F) {
            line += std::string("\\u00") + digits[byte >> 4U] + digits[byte & 15U];
        } else {
            if (c == '"' || c == '\\') line += '\\';
            line += c;
        }
    }
    return line + "\"";
}

std::string pair_of(Point point) {
    return "[" + plain(point.x) + ", " + plain(point.y) + "]";
}

std::string text_of(const Decision& decision) {
    std::string text = "\n[[decision]]\nwhat = " + quoted(word_of(acts(), decision.act)) +
                       "\nat_px = " + pair_of(decision.at_px) + "\n";
    if (decision.act == Decision::Act::set_scale)
        text += "to_px = " + pair_of(decision.to_px) + "\nmm = " + plain(decision.value) + "\n";
    if (decision.act == Decision::Act::add_hole) text += "radius_px = " + plain(decision.value) + "\n";
    if (decision.act == Decision::Act::set_wall)
        text += "wall = " + quoted(word_of(walls(), decision.wall)) + "\n";
    return text + "who = " + quoted(decision.who) + "\nwhen = " + quoted(decision.when) +
           "\nwhy = " + quoted(decision.why) +
           "\nafter_result = " + (decision.after_result ? "true" : "false") + "\n" +
           (decision.picture_sha256.empty() ? ""
                                            : "picture_sha256 = " + quoted(decision.picture_sha256) + "\n");
}

std::string text_of(std::span<const Decision> decisions) {
    std::string text = head + ("schema = " + std::to_string(schema)) + "\n";
    for (const auto& decision : decisions)
        text += text_of(decision);
    return text;
}

/// Only the keys that belong to the act: another one is no slip of a person's but a file of another make.
void check_keys(const TomlTable& table, Decision::Act act) {
    std::vector<std::string> allowed{"what", "at_px", "who", "when", "why", "after_result", "picture_sha256"};
    if (act == Decision::Act::set_scale) allowed.insert(allowed.end(), {"to_px", "mm"});
    if (act == Decision::Act::add_hole) allowed.emplace_back("radius_px");
    if (act == Decision::Act::set_wall) allowed.emplace_back("wall");
    for (const auto& [key, node] : table.table()) {
        const std::string name(key.str());
        if (std::find(allowed.begin(), allowed.end(), name) == allowed.end())
            table.fail(name, node, "no such key of this decision");
    }
}

Point point_of(const TomlTable& table, const std::string& key) {
    const std::string expected = "a point [x, y] in px";
    const auto both = table.pair(key, -infinity, expected);
    if (!both) table.missing(key, expected);
    return {(*both)[0], (*both)[1]};
}

double length_of(const TomlTable& table, const std::string& key) {
    const std::string expected = "a number over 0";
    const auto value = table.number(key, 0, infinity, expected);
    if (!value) table.missing(key, expected);
    return *value;
}

void need(const TomlTable& table, const std::string& key, const std::string& expected) {
    if (table.find(key) == nullptr) table.missing(key, expected);
}

Decision decision_of(const TomlTable& table) {
    Decision decision;
    need(table, "what", "what was decided");
    table.choice<Decision::Act>("what", acts(), decision.act);
    check_keys(table, decision.act);
    decision.at_px = point_of(table, "at_px");
    if (decision.act == Decision::Act::set_scale) {
        decision.to_px = point_of(table, "to_px");
        decision.value = length_of(table, "mm");
    }
    if (decision.act == Decision::Act::add_hole) decision.value = length_of(table, "radius_px");
    if (decision.act == Decision::Act::set_wall) {
        need(table, "wall", "a wall state");
        table.choice<WallState>("wall", walls(), decision.wall);
    }
    decision.who = table.text_or_empty("who");
    decision.when = table.text_or_empty("when");
    decision.why = table.text_or_empty("why");
    decision.after_result = table.truth("after_result").value_or(false);
    decision.picture_sha256 = table.sha256_or_empty("picture_sha256");
    return decision;
}

std::vector<Decision> decisions_of(const std::string& bytes, const std::string& file) {
    const toml::table root = parse_toml(bytes, file);
    const TomlTable top(root, "", file);
    for (const auto& [key, node] : root) {
        const std::string name(key.str());
        if (name != "schema" && name != "decision") top.fail(name, node, "only schema and [[decision]]");
    }
    const auto number = top.whole("schema", schema, "1");
    if (!number) top.missing("schema", "1");
    if (*number != schema) top.fail("schema", *root.get("schema"), "1");
    std::vector<Decision> decisions;
    const toml::node* list = root.get("decision");
    if (list == nullptr) return decisions;
    if (!list->is_array_of_tables()) top.fail("decision", *list, "[[decision]] tables");
    for (const auto& item : *list->as_array())
        decisions.push_back(decision_of(TomlTable(*item.as_table(), "decision", file)));
    return decisions;
}

/// Line ends may have been changed on the way, by a mail program or a version store.
std::string with_plain_line_ends(std::string bytes) {
    std::erase(bytes, '\r');
    return bytes;
}

void check_replaceable(const std::filesystem::path& file) {
    std::error_code error;
    if (!std::filesystem::exists(file, error)) return;
    const std::string bytes = with_plain_line_ends(read_whole_file(file, most_bytes));
    if (text_of(decisions_of(bytes, file.string())) == bytes) return;
    throw Error(Fault::input, file.string() +
                                  ": expected only what ringwall wrote, got something else as well "
                                  "(a comment, a line moved?); it is left as it is");
}

void check_reads_back(const std::string& text, std::span<const Decision> decisions, const std::string& file) {
    const std::string line =
        file + ": a decision cannot be written: expected text in UTF-8 and finite numbers";
    std::vector<Decision> back;
    try {
        back = decisions_of(text, file);
    } catch (const Error&) {
        throw Error(Fault::usage, line);
    }
    if (!std::equal(back.begin(), back.end(), decisions.begin(), decisions.end()))
        throw Error(Fault::usage, line);
}

} // namespace

std::filesystem::path decisions_file_of(const std::filesystem::path& case_file) {
    std::filesystem::path file = case_file;
    return file.replace_extension(".decisions.toml");
}

std::vector<Decision> read_decisions(const std::filesystem::path& file) {
    return decisions_of(read_whole_file(file, most_bytes), file.string());
}

void write_decisions(const std::filesystem::path& file, std::span<const Decision> decisions) {
    const std::string text = text_of(decisions);
    check_reads_back(text, decisions, file.string());
    check_replaceable(file);
    std::filesystem::path aside = file;
    aside += "." + std::to_string(getpid()) + ".part";
    std::error_code error;
    try {
        write_whole_file(aside, text);
        std::filesystem::rename(aside, file);
    } catch (const std::filesystem::filesystem_error&) {
        std::filesystem::remove(aside, error);
        throw Error(Fault::input, "cannot write " + file.string());
    } catch (const Error&) {
        std::filesystem::remove(aside, error);
        throw;
    }
}

} // namespace ringwall
