// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/grey_scale.hpp"
#include "holes/pyramid.hpp"

#include <optional>
#include <vector>

namespace ringwall::holes {

/// A connected place above or below one grey level, by its outer border.
struct Region {
    std::vector<Point> border_px; ///< places of the border pixels, in order, pixels of the picture
    Point middle_px;              ///< mean of the border
    double area_px2 = 0;
    double resolution_px = 1; ///< pixel of the level that it was read on
};

/// Places of open beam (not brighter: burned-in marks are), whole in view, on the finest level where noise
/// does not fray them. `least_px2`: smallest area.
std::vector<Region> void_regions(const Pyramid& pyramid, const GreyScale& grey, double least_px2);

/// Places that next to nothing gets through: below two fifths of the open beam.
std::vector<Region> dense_regions(const Pyramid& pyramid, const GreyScale& grey, double least_px2);

/// Two half circles and the straight lines between them: a slot's outline.
struct Slot {
    Point centre_px;
    double width_px = 0;
    double length_px = 0; ///< over all
    double angle_deg = 0; ///< of the long axis, anticlockwise, 0 to 180
};

/// The region as a slot, where it is 16 pixels (of its level) wide or more, longer than wide by a fifth and
/// its border lies on the slot's outline within a fiftieth of the width and two thirds of its resolution
/// (rms): holes that wear made oval do not.
std::optional<Slot> slot_of(const Region& region);

/// The circle about the region's middle, where its border lies on it within 3 % and half its resolution
/// (rms).
struct Disk {
    Point centre_px;
    double radius_px = 0;
};
std::optional<Disk> disk_of(const Region& region);

} // namespace ringwall::holes
