// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "meter/agreement.hpp"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// Lower case (ASCII; other letters stand), outer and doubled blanks taken out.
std::string plain_words(const std::string& text);
/// The words of a text in lower case: runs of letters, digits, '+' and '.', a leading or trailing '-' kept.
std::vector<std::string> words_of(const std::string& text);

enum class PinRole { unknown, supply, ground, both };

/// What a point of the log names.
struct PointMeant {
    enum class What {
        pin,
        hole,      ///< its wall or land
        screw,     ///< the one fitted in a hole
        not_found, ///< worded like a hole or a hole's screw, but no such hole was measured
        ambiguous  ///< a name that two holes carry
    };
    What what = What::pin;
    std::optional<std::size_t> hole; ///< index, of `hole` and `screw`
    PinRole role = PinRole::unknown; ///< of `pin`
    std::string text;                ///< as written
};

/// A point is a hole when it equals a hole's id or name (any case; ids first), also as "wall H3", "land@H3";
/// the screw in it as "screw@H3", "screw H3", "screw in H3", "H3 screw". Everything else is a pin.
PointMeant point_meant(const std::string& point, std::span<const MeterHole> holes);

/// Words that name the screw in a hole, whether or not that hole was measured.
bool names_a_screw(const std::string& point);

/// Supply by words like supply, VCC, VDD, VBAT, V+, +, +24V, 12 V; ground by GND, ground, 0V, VSS, earth, PE,
/// return, chassis. Both or neither: the role is not known, and is never guessed. Common practice, no source.
PinRole role_in(const std::string& text);
/// The same for the note of a row; a note that speaks of something switched off or taken away names no role.
PinRole role_in_note(const std::string& note);

} // namespace ringwall
