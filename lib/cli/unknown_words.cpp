// SPDX-License-Identifier: Apache-2.0
#include "unknown_words.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cctype>
#include <numeric>

namespace ringwall::cli {
namespace {

/// Letters to change, add or leave out until both are the same (Levenshtein 1966).
std::size_t distance(const std::string& a, const std::string& b) {
    std::vector<std::size_t> row(b.size() + 1);
    std::iota(row.begin(), row.end(), std::size_t{0});
    for (const char letter : a) {
        std::size_t before = row[0]++;
        for (std::size_t j = 0; j < b.size(); ++j) {
            const std::size_t changed = before + (letter != b[j] ? 1 : 0);
            before = row[j + 1];
            row[j + 1] = std::min({changed, row[j] + 1, before + 1});
        }
    }
    return row.back();
}

/// "; did you mean ...?" for the nearest of `known`, when it is near.
std::string suggestion(const std::string& word, const std::vector<std::string>& known) {
    constexpr std::size_t most_slips = 2;
    const auto nearest = std::min_element(known.begin(), known.end(), [&](const auto& a, const auto& b) {
        return distance(word, a) < distance(word, b);
    });
    if (nearest == known.end() || distance(word, *nearest) > most_slips) return "";
    return "; did you mean " + *nearest + "?";
}

std::vector<std::string> commands_of(const CLI::App& app) {
    std::vector<std::string> names;
    for (const CLI::App* command : app.get_subcommands({}))
        names.push_back(command->get_name());
    return names;
}

std::vector<std::string> options_of(const CLI::App& command) {
    std::vector<std::string> names;
    for (const CLI::Option* option : command.get_options())
        for (const std::string& name : option->get_lnames())
            names.push_back("--" + name);
    return names;
}

bool looks_like_option(const std::string& word) {
    return word.size() > 1 && word[0] == '-' &&
           (word[1] == '-' || std::isalpha(static_cast<unsigned char>(word[1])) != 0);
}

std::string help_of(const CLI::App& app, const CLI::App& command) {
    return "; see ringwall " + (&command == &app ? "" : command.get_name() + " ") + "--help";
}

/// The words behind the command, an option's value left out.
void check_command(const CLI::App& app, const CLI::App& command, const std::vector<std::string>& words) {
    std::vector<std::string> plain;
    for (std::size_t i = 0; i < words.size(); ++i) {
        const std::string& word = words[i];
        if (word == "--") {
            plain.insert(plain.end(), words.begin() + static_cast<std::ptrdiff_t>(i) + 1, words.end());
            break;
        }
        if (!looks_like_option(word)) {
            plain.push_back(word);
            continue;
        }
        const std::string name = word.substr(0, word.find('='));
        const CLI::Option* option = command.get_option_no_throw(name);
        if (option == nullptr)
            throw Error(Fault::usage, "unknown option " + name + suggestion(name, options_of(command)) +
                                          help_of(app, command));
        const bool takes_value = option->get_items_expected_max() > 0;
        if (takes_value && name == word) ++i;
    }
    for (const CLI::Option* option : command.get_options()) {
        if (!option->get_positional() || option->get_items_expected_max() != 1 || plain.size() < 2) continue;
        std::string line = command.get_name() + ": expected one " + option->get_name(true) + ", got " +
                           std::to_string(plain.size()) + ":";
        for (const auto& word : plain)
            line += " " + word;
        throw Error(Fault::usage, line);
    }
}

} // namespace

void check_words(const CLI::App& app, const std::vector<std::string>& words) {
    const auto first = words.begin();
    if (first == words.end()) throw Error(Fault::usage, "expected a command; see ringwall --help");
    if (looks_like_option(*first)) {
        if (app.get_option_no_throw(*first) != nullptr) return; // --help, --version
        throw Error(Fault::usage,
                    "unknown option " + *first + suggestion(*first, options_of(app)) + help_of(app, app));
    }
    for (const CLI::App* command : app.get_subcommands({})) {
        if (command->get_name() != *first) continue;
        if (!command->get_allow_extras()) check_command(app, *command, {first + 1, words.end()});
        return;
    }
    throw Error(Fault::usage,
                "unknown command " + *first + suggestion(*first, commands_of(app)) + help_of(app, app));
}

} // namespace ringwall::cli
