// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// Where the unit came from, as its case file says.
struct Intake {
    std::string serial, lot;
    std::optional<int> lot_size; ///< units in the lot that it comes from; missing: not said
    std::string chosen;          ///< "random", "returned", ...: how this unit came to be examined
    bool operator==(const Intake&) const = default;
};

/// How one picture was made, as its operator signed for it; empty where nothing was said.
struct PictureNotes {
    std::string file; ///< as the case file names it
    std::string taken_by, taken_on, cabinet_calibrated, filter, processing, repeat_of;
    std::string fitted; ///< "screw", "bracket": what sat in the holes
    std::optional<double> kv, ua, frames;
    std::optional<int> cycles; ///< screw cycles before this picture
    bool operator==(const PictureNotes&) const = default;
};

/// One handing over of the unit.
struct Custody {
    std::string when, from, to, seal_before, seal_after, photographs;
    bool operator==(const Custody&) const = default;
};

/// A length measured by hand, beside the picture's.
struct HandMeasured {
    std::string what;  ///< "bore", "thickness", "screw_major", ...
    std::string where; ///< hole's id or name, "" for the board
    double value_mm = 0;
    std::optional<double> u_mm;                     ///< k = 1
    std::string with;                               ///< "pin gauge", "micrometer"
    std::optional<double> picture_mm, picture_u_mm; ///< what the picture says of the same, where it can
    std::optional<bool> agrees; ///< |difference| within 2 of the combined u; missing: cannot be told
    std::string why;
    bool operator==(const HandMeasured&) const = default;
};

/// A length of the screw's hardware, which no picture of the board shows: it is set beside the size judged.
inline bool of_the_screw(const HandMeasured& measured) {
    return measured.what == "screw_major" || measured.what == "head" || measured.what == "washer";
}

} // namespace ringwall
