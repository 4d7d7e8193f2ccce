// SPDX-License-Identifier: Apache-2.0
#include "meter/points.hpp"

#include <algorithm>
#include <array>
#include <string_view>

namespace ringwall {
namespace {

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

/// Letters of any alphabet: bytes of UTF-8 sequences belong to a word.
bool is_word(char c) {
    return is_digit(c) || (c >= 'a' && c <= 'z') || static_cast<unsigned char>(c) >= 0x80;
}

char lower(char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

template<std::size_t N>
bool one_of(std::string_view word, const std::array<std::string_view, N>& words) {
    return std::find(words.begin(), words.end(), word) != words.end();
}

/// A sign belongs to a word at its edges ("-12v", "bat-"); between letters it joins two words ("j1-24v").
bool splits(std::string_view text, std::size_t i) {
    const char c = text[i];
    const bool after = i > 0 && is_word(text[i - 1]), before = i + 1 < text.size() && is_word(text[i + 1]);
    if (c == '-') return after && before;
    return !is_word(c) && c != '+' && c != '.';
}

/// "24v", "+5", "3v3", "12.5vdc", "-12v": 1 a voltage other than zero, 0 zero volts, nothing: no voltage.
std::optional<int> volts_in(std::string_view word) {
    const bool sign = !word.empty() && (word.front() == '+' || word.front() == '-');
    const bool plus = sign && word.front() == '+';
    if (sign) word.remove_prefix(1);
    if (word.empty() || !is_digit(word.front())) return {};
    bool other_than_zero = false, unit = false;
    std::size_t i = 0;
    for (; i < word.size() && (is_digit(word[i]) || word[i] == '.' || (word[i] == 'v' && !unit)); ++i) {
        unit = unit || word[i] == 'v';
        other_than_zero = other_than_zero || (is_digit(word[i]) && word[i] != '0');
    }
    const std::string_view rest = word.substr(i);
    if (!(rest.empty() || rest == "dc" || rest == "ac") || !(unit || plus)) return {};
    return other_than_zero ? 1 : 0;
}

bool says_supply(std::string_view word) {
    constexpr std::array<std::string_view, 20> words{
        "supply", "vcc",  "vdd",   "vbat", "vbatt", "vbus", "vin",   "vsys",     "v+",      "b+",
        "+",      "bat+", "batt+", "vee",  "dc+",   "pwr",  "power", "battery+", "supply+", "live"};
    constexpr std::array<std::string_view, 4> beginnings{"vcc", "vdd", "vbat", "vbus"};
    return one_of(word, words) || volts_in(word) == 1 ||
           std::any_of(beginnings.begin(), beginnings.end(),
                       [&](std::string_view beginning) { return word.starts_with(beginning); });
}

bool says_ground(std::string_view word) {
    constexpr std::array<std::string_view, 7> words{"ground", "chassis", "earth", "pe",
                                                    "vss",    "return",  "rtn"};
    return one_of(word, words) || word.find("gnd") != std::string_view::npos || volts_in(word) == 0;
}

PinRole role_of(const std::vector<std::string>& words) {
    bool supply = false, ground = false;
    for (std::size_t i = 0; i < words.size(); ++i) {
        const bool volts = i + 1 < words.size() && words[i + 1] == "v"; // "24 V"
        const std::string word = volts ? words[i] + "v" : words[i];
        supply = supply || says_supply(word);
        ground = ground || says_ground(word);
    }
    if (supply && ground) return PinRole::both;
    if (supply) return PinRole::supply;
    return ground ? PinRole::ground : PinRole::unknown;
}

/// Index of the hole with this id or name, `ambiguous` when two carry the name.
PointMeant hole_called(const std::string& words, std::span<const MeterHole> holes) {
    PointMeant meant;
    for (std::size_t i = 0; i < holes.size() && !meant.hole; ++i)
        if (words == plain_words(holes[i].id)) meant.hole = i;
    for (std::size_t i = 0, found = 0; i < holes.size() && !words.empty(); ++i) {
        if (meant.hole && found == 0) break; // by its id
        if (holes[i].name.empty() || words != plain_words(holes[i].name)) continue;
        if (++found > 1) return {.what = PointMeant::What::ambiguous, .hole = {}, .role = {}, .text = {}};
        meant.hole = i;
    }
    if (meant.hole) meant.what = PointMeant::What::hole;
    return meant;
}

constexpr std::array<std::string_view, 3> screws{"screw", "bolt", "screw head"};

bool looks_like_id(std::string_view words) {
    return words.size() > 1 && words.front() == 'h' && std::all_of(words.begin() + 1, words.end(), is_digit);
}

/// What is left of "screw in H3", "screw@H3" or "H3 screw" without the word; nothing: the word is not there.
std::optional<std::string> beside(std::string_view words, std::string_view word) {
    std::string_view rest;
    if (words.starts_with(word) && (words.size() == word.size() || !is_word(words[word.size()])))
        rest = words.substr(word.size());
    else if (words.ends_with(word) && !is_word(words[words.size() - word.size() - 1]))
        rest = words.substr(0, words.size() - word.size());
    else
        return {};
    constexpr std::string_view between = " @:-_/.,()";
    const auto strip = [&] {
        while (!rest.empty() && between.find(rest.front()) != std::string_view::npos)
            rest.remove_prefix(1);
        while (!rest.empty() && between.find(rest.back()) != std::string_view::npos)
            rest.remove_suffix(1);
    };
    strip();
    for (const std::string_view link : {"fitted ", "in ", "at ", "of ", "on ", "hole "})
        if (rest.starts_with(link)) {
            rest.remove_prefix(link.size());
            strip();
        }
    return std::string(rest);
}

} // namespace

bool names_a_screw(const std::string& point) {
    const std::string words = plain_words(point);
    return std::any_of(screws.begin(), screws.end(),
                       [&](std::string_view word) { return beside(words, word).has_value(); });
}

std::string plain_words(const std::string& text) {
    std::string result;
    for (const char c : text) {
        const bool blank = c == ' ' || c == '\t';
        if (blank && (result.empty() || result.back() == ' ')) continue;
        result += blank ? ' ' : lower(c);
    }
    if (!result.empty() && result.back() == ' ') result.pop_back();
    return result;
}

std::vector<std::string> words_of(const std::string& text) {
    const std::string words = plain_words(text);
    std::vector<std::string> result(1);
    for (std::size_t i = 0; i < words.size(); ++i) {
        if (splits(words, i)) {
            result.emplace_back();
            continue;
        }
        const bool new_sign = words[i] == '+' && i + 1 < words.size() && is_digit(words[i + 1]);
        if (new_sign) result.emplace_back(); // "j1+24v"
        result.back() += words[i];
    }
    for (std::string& word : result)
        while (!word.empty() && word.back() == '.')
            word.pop_back();
    std::erase(result, std::string{});
    return result;
}

PinRole role_in(const std::string& text) {
    return role_of(words_of(text));
}

PinRole role_in_note(const std::string& note) {
    constexpr std::array<std::string_view, 8> gone{"off",        "disconnected", "removed", "unplugged",
                                                   "discharged", "no",           "not",     "without"};
    const std::vector<std::string> words = words_of(note);
    if (std::any_of(words.begin(), words.end(), [&](const std::string& word) { return one_of(word, gone); }))
        return PinRole::unknown;
    return role_of(words);
}

PointMeant point_meant(const std::string& point, std::span<const MeterHole> holes) {
    using What = PointMeant::What;
    const std::string words = plain_words(point);
    PointMeant meant = hole_called(words, holes);
    if (meant.what == What::pin && looks_like_id(words)) meant.what = What::not_found;
    constexpr std::array<std::string_view, 7> walls{"hole", "wall", "barrel", "land",
                                                    "pad",  "rim",  "plating"};
    const auto try_word = [&](std::string_view word, What what) {
        if (meant.what != What::pin) return;
        const std::optional<std::string> rest = beside(words, word);
        if (!rest) return;
        meant = hole_called(*rest, holes);
        if (meant.what == What::hole) meant.what = what;
        // "pad 3" may well be a pin; a screw without a hole is nothing that can be judged.
        if (meant.what == What::pin && (what == What::screw || looks_like_id(*rest)))
            meant.what = What::not_found;
    };
    for (const std::string_view word : screws)
        try_word(word, What::screw);
    for (const std::string_view word : walls)
        try_word(word, What::hole);
    meant.text = point;
    if (meant.what == What::pin) meant.role = role_in(point);
    return meant;
}

} // namespace ringwall
