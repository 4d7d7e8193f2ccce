// SPDX-License-Identifier: Apache-2.0
#include "core/sample_size.hpp"

#include "core/binomial.hpp"
#include "core/text.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <string_view>

namespace ringwall {
namespace {

constexpr double share_worth_showing = 0.05; ///< common practice, no source: the usual 95/95 demand

std::string lower_trimmed(std::string_view text) {
    const std::size_t from = text.find_first_not_of(" \t"), to = text.find_last_not_of(" \t.");
    if (from == std::string_view::npos || to == std::string_view::npos) return {};
    std::string result(text.substr(from, to - from + 1));
    std::transform(result.begin(), result.end(), result.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    return result;
}

bool drawn_at_random(const std::string& chosen) {
    constexpr std::array<std::string_view, 4> words{"random", "at random", "drawn at random", "randomly"};
    return std::find(words.begin(), words.end(), lower_trimmed(chosen)) != words.end();
}

/// In per cent with one decimal, an upper limit up and a lower one down. 1e-9: 0.95 computed is 95 %.
std::string at_most(double share) {
    return shortest(std::ceil(share * 1000 - 1e-9) / 10) + " %";
}
std::string at_least(double share) {
    return shortest(std::floor(share * 1000 + 1e-9) / 10) + " %";
}

std::string counted(int units, int failing) {
    const std::string all = std::to_string(units) + (units == 1 ? " unit examined, " : " units examined, ");
    return all + (failing == 0 ? std::string("none") : std::to_string(failing)) + " failing";
}

std::string how_chosen(const std::string& chosen, bool one) {
    const std::string word = lower_trimmed(chosen);
    if (word.empty()) return one ? "nothing says how it was chosen" : "nothing says how they were chosen";
    const std::string how = word == "chosen" || word == "returned" ? word : "chosen so: " + chosen;
    return (one ? "it was " : "they were ") + how + ", not drawn at random from one lot";
}

std::string without_share(int units, int failing, const std::string& chosen) {
    const std::string words = counted(units, failing) + "; " + how_chosen(chosen, units == 1) +
                              ". This supports no share of other units at all";
    if (failing > 0) return words + ": the fault exists in what was examined, how common it is stays open.";
    return words + ": other units may have the fault.";
}

/// What zero failures leave open, and how many units would be wanted.
std::string none_failing(int units, double upper, double confidence) {
    std::string words = ", the share of its lot that fails may still be as high as " + at_most(upper) + " (" +
                        at_least(confidence) + " confidence)";
    if (units == 1) words += ": one unit says almost nothing about the others";
    const int wanted = units_without_event(1 - share_worth_showing, confidence);
    if (units < wanted)
        words += ". To bring that to " + at_most(share_worth_showing) + ", " + std::to_string(wanted) +
                 " units drawn at random without a failing one would be needed";
    return words;
}

std::string some_failing(const ShareLimits& share, double confidence) {
    return ", the share of its lot that fails is at least " + at_least(share.low) +
           " and may be as high as " + at_most(share.high) + " (" + at_least(confidence) +
           " confidence for each)";
}

constexpr int largest_small_lot = 100000; ///< beyond it both limits agree to all digits shown

SampleStatement of_small_lot(int units, int failing, int lot, double confidence) {
    const LotLimits limits = lot_limits_one_sided(failing, units, lot, confidence);
    const std::string most = std::to_string(limits.most) + " of its " + std::to_string(lot);
    std::string words = counted(units, failing) + ". If drawn at random from one lot of " +
                        std::to_string(lot) + ", as the case says, ";
    if (failing == 0)
        words += "as many as " + most + " units may still fail";
    else
        words += "at least " + std::to_string(limits.fewest) + " and as many as " + most + " units fail";
    words += " (" + at_least(confidence) + " confidence" + (failing == 0 ? ")" : " for each)");
    if (units == 1 && failing == 0 && lot > 1) words += ": one unit says almost nothing about the others";
    return {static_cast<double>(limits.most) / lot, words + "."};
}

} // namespace

SampleStatement sample_statement(int units, int failing, const std::string& chosen, double confidence,
                                 std::optional<int> lot_size) {
    assert(units >= 1 && failing >= 0 && failing <= units && confidence > 0 && confidence < 1);
    if (!drawn_at_random(chosen)) return {{}, without_share(units, failing, chosen)};
    if (lot_size && *lot_size >= units && *lot_size <= largest_small_lot)
        return of_small_lot(units, failing, *lot_size, confidence);
    const ShareLimits share = clopper_pearson_one_sided(failing, units, confidence);
    const std::string words =
        failing == 0 ? none_failing(units, share.high, confidence) : some_failing(share, confidence);
    return {share.high, counted(units, failing) +
                            ". If drawn at random from one large lot, as the case says" + words + "."};
}

} // namespace ringwall
