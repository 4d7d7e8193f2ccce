// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace ringwall::screwfit {

/// A head or washer that a standard gives for a screw, mm: named where a case gives no size, never used
/// unasked.
struct StandardPart {
    std::string what; ///< "pan head, ISO 7045"
    double outer_mm = 0;
    std::optional<double> bore_mm; ///< of a washer
};
std::vector<StandardPart> standard_heads(const std::string& screw);
std::vector<StandardPart> standard_washers(const std::string& screw);

/// A clearance hole that a standard gives for a screw.
struct ClearanceHole {
    std::string fit; ///< "medium, ISO 273"
    double hole_mm = 0;
};
std::vector<ClearanceHole> clearance_holes(const std::string& screw);

/// The rows of IPC-2221 table 6-1, in order.
const std::vector<std::string>& spacing_rows();

} // namespace ringwall::screwfit
