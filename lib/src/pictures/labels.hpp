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

/// A hole on the canvas and all that is drawn of it.
struct Mark {
    Point centre;
    double radius = 0;           ///< of the hole itself: what the eye takes a label to belong to
    std::vector<double> reach{}; ///< radius of the outermost line by direction, in equal steps anticlockwise
                                 ///< as seen, the first to the right; empty: the hole's radius all round
    [[nodiscard]] double outermost() const;
    /// Of the outermost line in a direction (y down; any length over 0).
    [[nodiscard]] double reach_along(Point direction) const;
    /// From the hole itself to the box; 0 where they meet.
    [[nodiscard]] double distance(const Box& box) const;
    /// From the outermost line to the box.
    [[nodiscard]] double line_distance(const Box& box) const;
    /// Whether the box covers a line of the mark, or lies inside.
    [[nodiscard]] bool meets(const Box& box) const;
};

struct Size {
    double width = 0, height = 0;
};

/// A label that wants a place near its mark.
struct LabelWish {
    Mark at;
    Size full;
    Size brief;            ///< what is said where the full label finds no room; 0: nothing
    bool may_lead = false; ///< goes before the others; may stand further off, with a line to its hole
};

struct LabelPlace {
    Box box;
    bool brief = false;
    bool led = false;   ///< draw a line to the hole
    Point from{}, to{}; ///< that line, from the mark's outermost line to the label
};

/// Whether a reader could take the label for another hole's: such a hole, or a line of its mark, is as near
/// to the label as its own, or nearly.
bool could_mislead(const Box& box, const Mark& own, const std::vector<Mark>& marks);

/// Places for labels, the most wanted first: inside the field, never over another label, a mark or another
/// label's line; without a line only where the label cannot be taken for another hole's. First those that may
/// lead: beside their mark, or further off with a line that crosses nothing, or brief; then the others,
/// beside their mark or brief and near it with a line. A full label gives way where it would take the room
/// for another's brief one. In the order of the wishes; none: no room.
std::vector<std::optional<LabelPlace>> place_labels(const std::vector<LabelWish>& wishes,
                                                    const std::vector<Mark>& marks, double field_width,
                                                    double field_height);

} // namespace ringwall
