// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

namespace ringwall {

/// What the readings say about one hole, beside what the pictures say.
struct MeterAgreement {
    std::string hole; ///< id
    enum class Says { agrees, contradicts, proves_nothing } says = Says::proves_nothing;
    std::string why;             ///< one sentence; starts with "CONTRADICTION" when it contradicts
    std::vector<int> lines;      ///< of the log that it rests on
    bool contact_proven = false; ///< a supply pin was joined to the hole or its screw
    bool operator==(const MeterAgreement&) const = default;
};

} // namespace ringwall
