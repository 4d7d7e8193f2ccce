// SPDX-License-Identifier: Apache-2.0
#include "pictures/labels.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall {
namespace {

constexpr std::array<std::array<double, 2>, 8> directions{
    {{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {0.71, 0.71}, {-0.71, 0.71}, {0.71, -0.71}, {-0.71, -0.71}}};

/// The label's box when its nearest point stands `distance` from the disk's centre in a direction.
Box box_at(const LabelWish& wish, std::array<double, 2> direction, double distance) {
    const double x = wish.at.centre.x + direction[0] * distance,
                 y = wish.at.centre.y + direction[1] * distance;
    const auto start = [](double at, double size, double side) {
        return side > 0.1 ? at : side < -0.1 ? at - size : at - size / 2;
    };
    return {start(x, wish.width, direction[0]), start(y, wish.height, direction[1]), wish.width, wish.height};
}

class Placer {
  public:
    Placer(const std::vector<Disk>& disks, double width, double height)
        : disks_(disks), width_(width), height_(height) {}

    std::optional<LabelPlace> place(const LabelWish& wish) {
        const double near = wish.at.radius + wish.height * 0.3;
        auto found = first_free(wish, near, true);
        bool led = false;
        for (double far = 1.5; !found && wish.may_lead && far < 9; far *= 1.35) {
            found = first_free(wish, wish.at.radius + wish.height * far, true);
            led = true;
        }
        if (!found && wish.may_lead) {
            found = first_free(wish, near, false);
            led = false;
        }
        if (!found) return std::nullopt;
        taken_.push_back(*found);
        return LabelPlace{*found, led};
    }

  private:
    [[nodiscard]] std::optional<Box> first_free(const LabelWish& wish, double distance,
                                                bool off_disks) const {
        for (const auto& direction : directions) {
            const Box box = box_at(wish, direction, distance);
            if (inside(box) && free(box) && (!off_disks || off(box))) return box;
        }
        return std::nullopt;
    }
    [[nodiscard]] bool inside(const Box& box) const {
        return box.x >= 0 && box.y >= 0 && box.x + box.width <= width_ && box.y + box.height <= height_;
    }
    [[nodiscard]] bool free(const Box& box) const {
        return std::none_of(taken_.begin(), taken_.end(), [&](const Box& other) { return box.meets(other); });
    }
    [[nodiscard]] bool off(const Box& box) const {
        return std::none_of(disks_.begin(), disks_.end(), [&](const Disk& disk) { return disk.meets(box); });
    }
    const std::vector<Disk>& disks_;
    double width_, height_;
    std::vector<Box> taken_;
};

} // namespace

bool Disk::meets(const Box& box) const {
    const double dx = std::max({box.x - centre.x, 0.0, centre.x - box.x - box.width});
    const double dy = std::max({box.y - centre.y, 0.0, centre.y - box.y - box.height});
    return std::hypot(dx, dy) < radius;
}

std::vector<std::optional<LabelPlace>> place_labels(const std::vector<LabelWish>& wishes,
                                                    const std::vector<Disk>& disks, double field_width,
                                                    double field_height) {
    Placer placer(disks, field_width, field_height);
    std::vector<std::optional<LabelPlace>> places;
    places.reserve(wishes.size());
    for (const auto& wish : wishes)
        places.push_back(placer.place(wish));
    return places;
}

} // namespace ringwall
