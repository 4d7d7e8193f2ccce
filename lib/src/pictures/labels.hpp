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

/// A label that wants a place near its disk.
struct LabelWish {
    Disk at;
    double width = 0, height = 0;
    bool may_lead = false; ///< may stand further off, with a line to its hole
};

struct LabelPlace {
    Box box;
    bool led = false; ///< stands off: draw a line to the hole
};

/// Places for labels, in the order of the wishes (the most wanted first): inside the field, never over
/// another label, and over no disk where that can be had; a wish that may lead tries twice as far and more.
/// None: no room.
std::vector<std::optional<LabelPlace>> place_labels(const std::vector<LabelWish>& wishes,
                                                    const std::vector<Disk>& disks, double field_width,
                                                    double field_height);

} // namespace ringwall
