// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>

namespace ringwall {

enum class Joint { open, joined };
enum class ReadingBehaviour { unknown, steady, rising, falling };

/// One row of the continuity log (contract.md), as the person wrote it.
struct ContinuityReading {
    int line = 0;     ///< in the log
    std::string a, b; ///< points: hole ids or names of pins
    std::optional<Joint> expect;
    Joint reading = Joint::open;
    std::optional<double> ohms;
    ReadingBehaviour behaviour = ReadingBehaviour::unknown;
    std::string setup; ///< "bare board", "assembled unpowered", screw, torque, side, cables ... in words
    std::string polarity;
    std::optional<double> lead_ohms;
    std::string meter, calibrated_on, when, by, note;
    bool operator==(const ContinuityReading&) const = default;
};

} // namespace ringwall
