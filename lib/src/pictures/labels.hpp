// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <optional>
#include <vector>

namespace ringwall {

struct Box {
    double x = 0, y = 0, width = 0, height = 0;
    [[nodiscard]] bool meets(const Box& other) const {
        return x < other.x + other.width && other.x < x + width && y < other.y + other.height &&
               other.y < y + height;
    }
    bool operator==(const Box&) const = default;
};

struct Disk {
    Point centre;
    double radius = 0;
    [[nodiscard]] bool meets(const Box& box) const;
};

struct Size {
    double width = 0, height = 0;
};

/// A label that wants a place near its disk.
struct LabelWish {
    Disk at;
    Size full;
    Size brief;            ///< what is said where the full label finds no room; 0: nothing
    bool may_lead = false; ///< the full label may stand further off, with a line to its hole
};

struct LabelPlace {
    Box box;
    bool brief = false;
    bool led = false;   ///< stands off: draw a line to the hole
    Point from{}, to{}; ///< that line, from the disk's rim to the label
};

/// Places for labels, the most wanted first: inside the field, never over another label, a disk or another
/// label's line. First every full label beside its own disk; then further off with a line that crosses
/// nothing; then the brief ones. In the order of the wishes; none: no room.
std::vector<std::optional<LabelPlace>> place_labels(const std::vector<LabelWish>& wishes,
                                                    const std::vector<Disk>& disks, double field_width,
                                                    double field_height);

} // namespace ringwall
