// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/continuity.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/meter.hpp"

#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace ringwall {

/// What the pictures say about contact between a hole's screw and copper.
enum class ContactSeen {
    cannot_say, ///< no screw judged, no scale, or contact hangs on what the picture does not show
    apart,      ///< every judged part of the screw ends short of the copper seen, beyond U
    touching    ///< metal can touch copper in the position drawn
};

/// What the pictures say about one hole, as far as a meter can confirm or contradict it.
struct MeterHole {
    std::string id, name; ///< name as the case file calls it; empty: none
    HoleKind kind = HoleKind::hole;
    WallState wall = WallState::undecided;
    KeepOutState keepout = KeepOutState::undecided;
    ContactSeen contact = ContactSeen::cannot_say;
};

struct MeterResult {
    std::vector<MeterAgreement> holes; ///< one for each hole that a reading names, in the order of the holes
    std::vector<std::string> board;    ///< sentences about the whole board and about the log itself
};

/// Sets the continuity log beside the pictures. Every rule here is common practice, no source, unless it says
/// otherwise.
///
/// Points (meter/points.hpp): a point is a hole, the screw in a hole, or a pin; a pin is a supply or a ground
/// pin by its name, or by the note where the name says nothing, else its role is unknown. Set-up words
/// (meter/setup.hpp): what is not said is named, never assumed, with one exception that the sentence admits:
/// a hole named without its screw is taken as empty.
///
/// Rules for one reading, by wall (from the picture) and by what sits in the hole:
///   plated, empty   supply: must be open; joined contradicts. Ground: joined agrees; open to every ground
///   pin
///                   contradicts where the picture shows the hole's copper running on into a plane
///   bare, empty     open proves nothing; joined: copper is exposed in the wall with a conducting path to the
///                   pin, possibly through a part; contradicts the picture unless that shows copper at the
///                   wall
///   screw fitted    supply: joined proves contact in that state (contradicts a picture that shows the screw
///                   apart, and a plated wall), open is no contact at that moment and no clearance
///   assembled       supply against ground, low then rising: capacitors charging, expected; staying low is
///   not.
///                   Both polarities are asked for, since parts conduct one way
/// A reading against its own `expect`, one whose ohms deny it, and two that deny each other contradict. A
/// reading on a powered board or with its battery connected counts for nothing.
///
/// Ohms: continuity up to 10 ohm, isolation from 10 Mohm, the strictest level of IPC-9252, which is for
/// unpopulated boards: on an assembled board a value between can be a part. The leads' resistance is taken
/// off where the row gives it.
///
/// Sentences that report a contradiction start with "CONTRADICTION".
MeterResult meter_against_pictures(std::span<const ContinuityReading> readings,
                                   std::span<const MeterHole> holes);

/// For the report, above any reading.
inline constexpr std::string_view before_any_reading =
    "Before any reading: disconnect mains and battery, discharge the capacitors and verify with a meter that "
    "they "
    "are discharged. No insulation tester on populated boards. Never power a recalled unit to test it. Local "
    "rules and licensed practice come first.";
/// What no reading can show. 0.1 to 0.5 Ω: common practice, no source; a barrel's 1 mΩ or less follows
/// from copper's resistivity.
inline constexpr std::string_view two_wire_limits =
    "A two-wire meter cannot prove a barrel whole: its leads alone have 0.1 to 0.5 Ω (common practice, no "
    "source), a plated barrel 1 mΩ or less, and the last thread of copper still reads as joined.";

} // namespace ringwall
