// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>

namespace ringwall {

enum class Engagement {
    free, ///< the screw slides through
    cuts  ///< its thread cuts into the wall
};

enum class VoltageKind { unknown, dc, ac };

/// A screw as it is used, mm. Diameters over any plating: class limits hold before plating.
struct Screw {
    std::string name;    ///< "M3", "UNC6-32"; empty: given by its sizes alone
    double major_mm = 0; ///< d, nominal or measured
    double minor_mm = 0; ///< d1, the smallest minor diameter: how deep the thread can cut
    std::optional<double> major_min_mm, major_max_mm; ///< limits of the thread's class (6g, 2A)
    std::optional<double> head_mm;        ///< largest diameter of the head; missing: the head is not judged
    std::optional<double> washer_mm;      ///< largest outside diameter
    std::optional<double> washer_bore_mm; ///< largest bore
    std::optional<double> far_side_mm;    ///< outline (diameter) of nut, standoff or bracket
    double tilt_deg = 0;                  ///< largest tilt from the hole's axis
    std::optional<Engagement> engagement; ///< said by a person; missing: cuts where d > D
    std::string source;                   ///< where the numbers come from, for the page
    bool operator==(const Screw&) const = default;
};

/// The spacing that the investigator chose as a yardstick.
struct SpacingRule {
    std::optional<double> voltage_peak_v;
    VoltageKind voltage_kind = VoltageKind::unknown;
    std::string row;                   ///< "B1".."B4", "A5".."A7" of IPC-2221 table 6-1; empty: none chosen
    std::optional<double> required_mm; ///< given outright; goes before voltage and row
    bool operator==(const SpacingRule&) const = default;
};

} // namespace ringwall
