// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "meter/reading.hpp"

#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// What one reading, or some together, say about a hole.
struct HoleSaying {
    MeterAgreement::Says says = MeterAgreement::Says::proves_nothing;
    std::string text; ///< part of a sentence, lower case, without a full stop
    bool contact_proven = false;
};

/// One reading at one hole; `other` is the point at the other end.
struct AtHole {
    const Reading* reading = nullptr;
    const MeterHole* hole = nullptr;
    const PointMeant* here = nullptr;
    const PointMeant* other = nullptr;
    /// A screw, or whatever fills the hole in the picture, sits in it.
    [[nodiscard]] bool fitted() const;
};

/// The rules of meter/agreement.hpp for one reading.
HoleSaying saying_of(const AtHole& at);
/// What only several readings of one hole say: rows that deny each other, ground nowhere to be found.
std::vector<HoleSaying> sayings_together(std::span<const AtHole> readings);

} // namespace ringwall
