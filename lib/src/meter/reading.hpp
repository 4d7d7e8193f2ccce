// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "meter/points.hpp"
#include "meter/setup.hpp"

#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// What the meter showed, its words, ohms and behaviour taken together.
enum class Shown {
    open,
    leaky, ///< called open, but under the isolation limit
    joined,
    resistive,  ///< called joined, but over the continuity limit
    charging,   ///< began low and rose, not on a bare board
    impossible, ///< ohms deny the word
    void_       ///< powered, or the battery connected: no continuity reading
};

/// IPC-9252 (unpopulated boards), strictest level.
inline constexpr double continuity_ohm = 10, isolation_ohm = 10e6;

/// One row of the log, understood.
struct Reading {
    const ContinuityReading* row = nullptr;
    PointMeant a, b;
    SetUp setup;
    Shown shown = Shown::open;
    [[nodiscard]] bool conducts() const {
        return shown == Shown::joined || shown == Shown::resistive || shown == Shown::charging;
    }
    [[nodiscard]] bool against_expectation() const { return row->expect && *row->expect != row->reading; }
};

std::vector<Reading> understood(std::span<const ContinuityReading> rows, std::span<const MeterHole> holes);

/// "0.3 Ω", "2.2 kΩ", "15 MΩ".
std::string ohms_in_words(double ohms);
std::string in_words(Joint joint);
/// "line 4", "lines 2, 3 and 7".
std::string lines_in_words(std::span<const int> lines);
/// "supply pin J1-1", "ground pin TP3", "pin TP4, whose role the log does not say".
std::string in_words(const PointMeant& pin);
/// "; on an assembled board possibly through a part", or nothing for a bare board.
std::string perhaps_through_a_part(const SetUp& setup);

} // namespace ringwall
