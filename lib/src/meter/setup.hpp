// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/continuity.hpp"

#include <string>

namespace ringwall {

enum class Told { not_told, no, yes };

/// The set-up of a reading, read from the person's words ("assembled unpowered, screw fitted 0.5 Nm, pushed
/// toward the plane; cables, chassis and battery disconnected"). What the words do not say stays `not_told`.
struct SetUp {
    enum class Board { not_told, bare, assembled };
    Board board = Board::not_told;
    Told screw = Told::not_told;                                                      ///< fitted?
    bool torque = false, side = false;                                                ///< said with the screw
    Told cables = Told::not_told, chassis = Told::not_told, battery = Told::not_told; ///< connected?
    bool powered = false;
};

SetUp setup_in(const std::string& words);

/// The reading's points or its set-up say that a screw sat in the hole.
bool says_screw_fitted(const ContinuityReading& row);

} // namespace ringwall
