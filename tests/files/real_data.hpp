// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdlib>
#include <filesystem>

namespace ringwall::test {

/// Real pictures from outside, kept apart from the project; empty when this machine has none.
inline std::filesystem::path real_data() {
    const char* stated = std::getenv("RINGWALL_REAL_DATA");
    const auto top = std::filesystem::path(__FILE__).parent_path().parent_path().parent_path();
    for (const auto& place : {std::filesystem::path(stated != nullptr ? stated : ""), top / "../shared/real"})
        if (!place.empty() && std::filesystem::is_directory(place)) return place;
    return {};
}

} // namespace ringwall::test
