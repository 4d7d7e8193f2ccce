// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace ringwall {

/// The shortest decimal text that reads back as the same number; no locale, no "-0".
std::string shortest(double value);
/// The same without an exponent, for programs and people that read none: "0.0005".
std::string plain(double value);
/// For an error line: without an exponent where that is short ("0.0005", "12500"), else with one ("1e+300").
std::string brief(double value);
/// `value` with `digits` significant digits (1 to 15), for words to a person.
double rounded(double value, int digits);
/// Fixed decimals, no locale, no "-0.00".
std::string fixed(double value, int decimals);
/// A key as words: "screw_major" is "screw major".
std::string spaced(std::string key);

} // namespace ringwall
