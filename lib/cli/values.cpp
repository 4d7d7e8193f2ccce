// SPDX-License-Identifier: Apache-2.0
#include "values.hpp"

#include <charconv>
#include <cmath>
#include <limits>

namespace ringwall::cli {
namespace {

[[noreturn]] void fail(const std::string& option, const std::string& expected, const std::string& got) {
    throw Error(Fault::usage, "--" + option + ": expected " + expected + ", got \"" + got + "\"");
}

std::optional<double> read_number(const std::string& text) {
    double value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    const bool whole = error == std::errc() && end == text.data() + text.size();
    return whole ? std::optional(value) : std::nullopt;
}

std::vector<std::string> split(const std::string& text, char at) {
    std::vector<std::string> parts(1);
    for (const char c : text) {
        if (c == at)
            parts.emplace_back();
        else
            parts.back() += c;
    }
    return parts;
}

constexpr double infinity = std::numeric_limits<double>::infinity();

} // namespace

double number(const std::string& option, const std::string& text, double over, double below,
              const std::string& expected) {
    const auto value = read_number(text);
    if (!value || !(*value > over && *value < below)) fail(option, expected, text);
    return *value;
}

double number(const std::string& option, const std::string& text, const Limits& limits) {
    const auto value = read_number(text);
    if (!value || !limits.hold(*value)) fail(option, limits.expected, text);
    return *value;
}

long whole_number(const std::string& option, const std::string& text, long least, long most) {
    long value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    const bool whole = error == std::errc() && end == text.data() + text.size();
    if (!whole || value < least || value > most) {
        fail(option, "a whole number from " + std::to_string(least) + " to " + std::to_string(most), text);
    }
    return value;
}

std::array<double, 2> pixel_size(const std::string& option, const std::string& text) {
    const std::string expected = std::string(pixel_limits_mm.expected) + ", one or two as X,Y";
    const auto parts = split(text, ',');
    if (parts.size() > 2) fail(option, expected, text);
    const auto x = read_number(parts.front()), y = read_number(parts.back());
    if (!x || !y || !pixel_limits_mm.hold(*x) || !pixel_limits_mm.hold(*y)) fail(option, expected, text);
    return {*x, *y};
}

std::array<double, 3> voxel_size(const std::string& option, const std::string& text) {
    const std::string expected = std::string(pixel_limits_mm.expected) + ", one or three as X,Y,Z";
    const auto parts = split(text, ',');
    if (parts.size() != 1 && parts.size() != 3) fail(option, expected, text);
    std::array<double, 3> voxel{};
    for (std::size_t i = 0; i < 3; ++i) {
        const auto side = read_number(parts[std::min(i, parts.size() - 1)]);
        if (!side || !pixel_limits_mm.hold(*side)) fail(option, expected, text);
        voxel[i] = *side;
    }
    return voxel;
}

KnownDistance known_distance(const std::string& option, const std::string& text) {
    const std::string expected = "two points and their distance as X1,Y1,X2,Y2=MM";
    const auto sides = split(text, '=');
    if (sides.size() != 2) fail(option, expected, text);
    const auto parts = split(sides[0], ',');
    const auto mm = read_number(sides[1]);
    if (parts.size() != 4 || !mm || !(*mm > 0 && *mm < infinity)) fail(option, expected, text);
    std::array<double, 4> px{};
    for (std::size_t i = 0; i < 4; ++i) {
        const auto value = read_number(parts[i]);
        if (!value || !(*value > -infinity && *value < infinity)) fail(option, expected, text);
        px[i] = *value;
    }
    const double length_px = std::hypot(px[2] - px[0], px[3] - px[1]);
    if (length_px >= 1 && !pixel_limits_mm.hold(*mm / length_px))
        fail(option, "a distance that makes " + std::string(pixel_limits_mm.expected), text);
    return {{px[0], px[1]}, {px[2], px[3]}, *mm, std::nullopt};
}

std::pair<std::string, std::string> hole_pair(const std::string& option, const std::string& text) {
    const auto sign = text.find('=');
    if (sign == std::string::npos || sign == 0 || sign + 1 == text.size() ||
        text.find('=', sign + 1) != std::string::npos)
        throw Error(Fault::usage,
                    "--" + option + ": expected OLD=REVISED, two holes' ids, got \"" + text + "\"");
    return {text.substr(0, sign), text.substr(sign + 1)};
}

DenseSide dense_side(const std::string& text) {
    if (text == "dark") return DenseSide::dark;
    if (text == "bright") return DenseSide::bright;
    if (text == "auto") return DenseSide::automatic;
    fail("dense", "dark, bright or auto", text);
}

VoltageKind voltage_kind(const std::string& text) {
    if (text == "dc") return VoltageKind::dc;
    if (text == "ac") return VoltageKind::ac;
    fail("voltage-kind", "dc or ac", text);
}

std::string spacing_row(const std::string& text) {
    for (const char* row : {"B1", "B2", "B3", "B4", "A5", "A6", "A7"})
        if (text == row) return text;
    fail("spacing-row", "B1, B2, B3, B4, A5, A6 or A7", text);
}

Radiometry radiometry(const std::string& text) {
    if (text == "linear") return Radiometry::linear;
    if (text == "log") return Radiometry::log;
    if (text == "display") return Radiometry::display;
    fail("radiometry", "linear, log or display", text);
}

} // namespace ringwall::cli
