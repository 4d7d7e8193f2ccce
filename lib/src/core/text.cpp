// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"

#include "ringwall/estimate.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

namespace ringwall {

std::string shortest(double value) {
    char text[32];
    const auto end = std::to_chars(text, text + sizeof text, value == 0 ? 0.0 : value).ptr;
    return {text, end};
}

std::string plain(double value) {
    char text[400];
    const auto end =
        std::to_chars(text, text + sizeof text, value == 0 ? 0.0 : value, std::chars_format::fixed).ptr;
    return {text, end};
}

std::string brief(double value) {
    constexpr std::size_t readable = 12; // figures that an eye still takes in
    std::string text = plain(value);
    return text.size() <= readable ? text : shortest(value);
}

double rounded(double value, int digits) {
    char text[40];
    const auto end =
        std::to_chars(text, text + sizeof text, value, std::chars_format::scientific, digits - 1).ptr;
    double result = value;
    std::from_chars(text, end, result);
    return result;
}

std::string fixed(double value, int decimals) {
    char text[400];
    const auto end = std::to_chars(text, text + sizeof text, value, std::chars_format::fixed, decimals).ptr;
    std::string result(text, end);
    const bool is_zero = result.find_first_not_of("-0.") == std::string::npos;
    return is_zero && result.front() == '-' ? result.substr(1) : result;
}

std::string with_expanded_u(const Estimate& estimate, int most_decimals) {
    if (!estimate) return {};
    const double least = std::pow(10.0, -most_decimals);
    const double expanded = std::max(rounded(2 * estimate.u(), 2), least);
    // 0.0001 of a decade: 0.1 must not come out as less than 10^-1
    const int decimals =
        std::min(most_decimals, 1 - static_cast<int>(std::floor(std::log10(expanded) + 1e-4)));
    if (decimals >= 0) return fixed(estimate.value(), decimals) + " ±" + fixed(expanded, decimals);
    const double place = std::pow(10.0, -decimals);
    return fixed(std::round(estimate.value() / place) * place, 0) + " ±" + fixed(expanded, 0);
}

std::string spaced(std::string key) {
    std::replace(key.begin(), key.end(), '_', ' ');
    return key;
}

} // namespace ringwall
