// SPDX-License-Identifier: Apache-2.0
#include "meter/setup.hpp"

#include "meter/points.hpp"

#include <algorithm>
#include <array>
#include <optional>
#include <string_view>
#include <vector>

namespace ringwall {
namespace {

using Words = std::vector<std::string>;

template<std::size_t N>
bool any_of(const Words& clause, const std::array<std::string_view, N>& words) {
    return std::any_of(clause.begin(), clause.end(), [&](const std::string& word) {
        return std::find(words.begin(), words.end(), word) != words.end();
    });
}

constexpr std::array<std::string_view, 14> apart{"disconnected", "unplugged", "removed", "off", "detached",
                                                 "without",      "no",        "none",    "not", "out",
                                                 "apart",        "nothing",   "empty",   "away"};
constexpr std::array<std::string_view, 6> together{"connected", "attached", "plugged", "on", "in", "fitted"};
constexpr std::array<std::string_view, 5> cable_words{"cable", "cables", "harness", "loom", "wiring"};
constexpr std::array<std::string_view, 3> chassis_words{"chassis", "enclosure", "housing"};
constexpr std::array<std::string_view, 4> battery_words{"battery", "batteries", "cell", "pack"};
constexpr std::array<std::string_view, 4> screw_words{"screw", "screws", "bolt", "bolts"};

std::optional<Told> state_in(const Words& clause) {
    if (any_of(clause, apart)) return Told::no;
    if (any_of(clause, together)) return Told::yes;
    return {};
}

/// Parts of the words between commas, semicolons and "and".
std::vector<Words> clauses_of(const std::string& words) {
    std::vector<Words> result(1);
    std::string part;
    const auto take = [&] {
        for (const std::string& word : words_of(part)) {
            if (word == "and" || word == "with")
                result.emplace_back();
            else
                result.back().push_back(word);
        }
        part.clear();
    };
    for (const char c : words) {
        if (c != ',' && c != ';') {
            part += c;
            continue;
        }
        take();
        result.emplace_back();
    }
    take();
    std::erase(result, Words{});
    return result;
}

/// Cables, chassis and battery: "cables, chassis and battery disconnected" says it once, for all three.
class Connections {
  public:
    explicit Connections(SetUp& setup) : setup_(setup) {}

    void read(const Words& clause) {
        const bool all = any_of(clause, std::array<std::string_view, 3>{"all", "everything", "nothing"});
        const std::vector<Told*> named =
            all ? std::vector{&setup_.cables, &setup_.chassis, &setup_.battery} : named_in(clause);
        const std::optional<Told> state = state_in(clause);
        if (named.empty()) {
            waiting_.clear();
            leading_.reset();
            return;
        }
        waiting_.insert(waiting_.end(), named.begin(), named.end());
        if (state && state_in({clause.front()}) && !all) leading_ = state; // "disconnected: cables, battery"
        const std::optional<Told> known = state ? state : leading_;
        if (!known) return;
        for (Told* one : waiting_)
            *one = *known;
        waiting_.clear();
    }

  private:
    std::vector<Told*> named_in(const Words& clause) {
        std::vector<Told*> named;
        if (any_of(clause, cable_words)) named.push_back(&setup_.cables);
        if (any_of(clause, chassis_words)) named.push_back(&setup_.chassis);
        if (any_of(clause, battery_words)) named.push_back(&setup_.battery);
        return named;
    }

    SetUp& setup_;
    std::vector<Told*> waiting_; ///< named, their state still to come
    std::optional<Told> leading_;
};

bool has(const std::string& words, std::string_view part) {
    return words.find(part) != std::string::npos;
}

SetUp::Board board_in(const std::string& words) {
    for (const std::string_view bare : {"bare board", "bare pcb", "unpopulated", "unassembled",
                                        "not assembled", "not populated", "without parts"})
        if (has(words, bare)) return SetUp::Board::bare;
    if (words == "bare") return SetUp::Board::bare;
    return has(words, "assembled") || has(words, "populated") ? SetUp::Board::assembled
                                                              : SetUp::Board::not_told;
}

bool powered_in(const Words& words) {
    constexpr std::array<std::string_view, 3> on{"powered", "energised", "energized"};
    constexpr std::array<std::string_view, 5> negated{"not", "never", "no", "un", "de"};
    for (std::size_t i = 0; i < words.size(); ++i) {
        const bool denied = i > 0 && any_of({words[i - 1]}, negated);
        if (any_of({words[i]}, on) && !denied) return true;
        if (words[i] == "power" && i + 1 < words.size() && words[i + 1] == "on") return true;
    }
    return false;
}

/// "screw not fitted"; "no screw fitted", but not "cables off screw fitted".
bool denied_before(const Words& clause, Words::const_iterator fitted) {
    if (fitted != clause.begin() && any_of({*(fitted - 1)}, apart)) return true;
    constexpr std::array<std::string_view, 4> none{"no", "without", "never", "zero"};
    for (auto word = clause.begin(); word != fitted; ++word)
        if (any_of({*word}, none) && any_of(Words(word + 1, fitted), screw_words)) return true;
    return false;
}

void read_screw(const Words& clause, SetUp& setup) {
    if (any_of(clause, std::array<std::string_view, 2>{"hole", "holes"}) &&
        any_of(clause, std::array<std::string_view, 1>{"empty"}))
        setup.screw = Told::no;
    if (!any_of(clause, screw_words)) return;
    const auto fitted = std::find(clause.begin(), clause.end(), "fitted");
    const bool in_place =
        fitted != clause.end() && !denied_before(clause, fitted); // "screw fitted not torqued"
    setup.screw = in_place || !any_of(clause, apart) ? Told::yes : Told::no;
}

bool torque_in(const Words& words, const std::string& plain) {
    const bool unit = std::any_of(words.begin(), words.end(), [](const std::string& word) {
        return word == "nm" || word == "ncm" ||
               (word.ends_with("nm") && word.front() >= '0' && word.front() <= '9');
    });
    return unit || has(plain, "torque") || has(plain, "tight") || has(plain, "lbf") || has(plain, "in-lb");
}

bool side_in(const std::string& plain) {
    return has(plain, "toward") || has(plain, "pushed") || has(plain, " side") || has(plain, "centred") ||
           has(plain, "centered");
}

} // namespace

SetUp setup_in(const std::string& words) {
    const std::string plain = plain_words(words);
    const Words all = words_of(words);
    SetUp setup;
    setup.board = board_in(plain);
    setup.powered = powered_in(all);
    setup.torque = torque_in(all, plain);
    setup.side = side_in(plain);
    Connections connections(setup);
    for (const Words& clause : clauses_of(words)) {
        connections.read(clause);
        read_screw(clause, setup);
    }
    return setup;
}

bool says_screw_fitted(const ContinuityReading& row) {
    const SetUp setup = setup_in(row.setup);
    return setup.screw == Told::yes ||
           (setup.screw == Told::not_told && (names_a_screw(row.a) || names_a_screw(row.b)));
}

} // namespace ringwall
