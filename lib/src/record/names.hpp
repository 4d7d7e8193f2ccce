// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace ringwall {

/// The words of the results file for every state, one table a type (contract.md).
template<typename T>
struct Words;
template<>
struct Words<HoleKind> {
    static constexpr std::array table{std::pair{HoleKind::hole, "hole"}, std::pair{HoleKind::via, "via"},
                                      std::pair{HoleKind::slot, "slot"},
                                      std::pair{HoleKind::filled, "filled"}};
};
template<>
struct Words<HoleShape> {
    static constexpr std::array table{std::pair{HoleShape::round, "round"},
                                      std::pair{HoleShape::out_of_round, "out_of_round"},
                                      std::pair{HoleShape::undecided, "undecided"}};
};
template<>
struct Words<WallState> {
    static constexpr std::array table{
        std::pair{WallState::plated, "plated"}, std::pair{WallState::bare, "bare"},
        std::pair{WallState::incomplete, "incomplete"}, std::pair{WallState::undecided, "undecided"}};
};
template<>
struct Words<KeepOutState> {
    static constexpr std::array table{
        std::pair{KeepOutState::ring_seen, "ring_seen"}, std::pair{KeepOutState::touching, "touching"},
        std::pair{KeepOutState::runs_on, "runs_on"}, std::pair{KeepOutState::none_in_view, "none_in_view"},
        std::pair{KeepOutState::undecided, "undecided"}};
};
template<>
struct Words<Radiometry> {
    static constexpr std::array table{
        std::pair{Radiometry::unknown, "unknown"}, std::pair{Radiometry::linear, "linear"},
        std::pair{Radiometry::log, "log"}, std::pair{Radiometry::display, "display"}};
};
template<>
struct Words<DenseSide> {
    static constexpr std::array table{std::pair{DenseSide::automatic, "auto"},
                                      std::pair{DenseSide::dark, "dark"},
                                      std::pair{DenseSide::bright, "bright"}};
};
template<>
struct Words<Shot> {
    static constexpr std::array table{std::pair{Shot::face, "face"}, std::pair{Shot::edge, "edge"},
                                      std::pair{Shot::stack, "stack"}};
};
template<>
struct Words<GapReason> {
    static constexpr std::array table{std::pair{GapReason::measured, ""},
                                      std::pair{GapReason::hidden, "hidden"},
                                      std::pair{GapReason::merged, "merged"},
                                      std::pair{GapReason::none, "none"}, std::pair{GapReason::own, "own"}};
};
template<>
struct Words<Decision::Act> {
    static constexpr std::array table{std::pair{Decision::Act::add_hole, "hole added"},
                                      std::pair{Decision::Act::strike_out, "hole struck out"},
                                      std::pair{Decision::Act::set_wall, "wall state set"},
                                      std::pair{Decision::Act::set_scale, "scale set"}};
};

template<>
struct Words<Engagement> {
    static constexpr std::array table{std::pair{Engagement::free, "free"},
                                      std::pair{Engagement::cuts, "cuts"}};
};
template<>
struct Words<VoltageKind> {
    static constexpr std::array table{std::pair{VoltageKind::unknown, "unknown"},
                                      std::pair{VoltageKind::dc, "dc"}, std::pair{VoltageKind::ac, "ac"}};
};
template<>
struct Words<Finding> {
    static constexpr std::array table{
        std::pair{Finding::gap_shown, "gap_shown"}, std::pair{Finding::too_close, "too_close"},
        std::pair{Finding::reaches, "reaches"}, std::pair{Finding::undecided, "undecided"}};
};
template<>
struct Words<Joint> {
    static constexpr std::array table{std::pair{Joint::open, "open"}, std::pair{Joint::joined, "joined"}};
};
template<>
struct Words<ReadingBehaviour> {
    static constexpr std::array table{
        std::pair{ReadingBehaviour::unknown, "unknown"}, std::pair{ReadingBehaviour::steady, "steady"},
        std::pair{ReadingBehaviour::rising, "rising"}, std::pair{ReadingBehaviour::falling, "falling"}};
};

template<typename T>
std::string word(T value) {
    for (const auto& [state, name] : Words<T>::table) {
        if (state == value) return name;
    }
    return "undecided";
}

template<typename T>
std::optional<T> from_word(std::string_view name) {
    for (const auto& [state, text] : Words<T>::table) {
        if (name == text) return state;
    }
    return std::nullopt;
}

/// "plated, bare, ...": what would have been right, for an error line.
template<typename T>
std::string all_words() {
    std::string words;
    for (const auto& [state, text] : Words<T>::table)
        words += (words.empty() ? "" : ", ") + std::string(text);
    return words;
}

} // namespace ringwall
