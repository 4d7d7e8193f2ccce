// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"

#include <charconv>

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

} // namespace ringwall
