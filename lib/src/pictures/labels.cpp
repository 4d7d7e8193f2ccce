// SPDX-License-Identifier: Apache-2.0
#include "pictures/labels.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall {
namespace {

constexpr std::array<std::array<double, 2>, 16> directions{{{1, 0},
                                                            {-1, 0},
                                                            {0, 1},
                                                            {0, -1},
                                                            {0.71, 0.71},
                                                            {-0.71, 0.71},
                                                            {0.71, -0.71},
                                                            {-0.71, -0.71},
                                                            {0.92, 0.38},
                                                            {-0.92, 0.38},
                                                            {0.92, -0.38},
                                                            {-0.92, -0.38},
                                                            {0.38, 0.92},
                                                            {-0.38, 0.92},
                                                            {0.38, -0.92},
                                                            {-0.38, -0.92}}};

struct Segment {
    Point from, to;
};

Point on_way(Point from, std::array<double, 2> direction, double distance) {
    return {from.x + direction[0] * distance, from.y + direction[1] * distance};
}

/// The label's box when the middle of a side, or a corner, stands `distance` from the disk's centre in a
/// direction.
Box box_at(const Disk& disk, Size size, std::array<double, 2> direction, double distance) {
    const auto [x, y] = on_way(disk.centre, direction, distance);
    const auto start = [](double at, double length, double side) {
        return side > 0.5 ? at : side < -0.5 ? at - length : at - length / 2;
    };
    return {start(x, size.width, direction[0]), start(y, size.height, direction[1]), size.width, size.height};
}

/// Points of a line a few canvas pixels apart, its ends left out: what it leads to may touch them.
template<class Crossed>
bool any_point(const Segment& s, const Crossed& crossed) {
    const int steps = 2 + static_cast<int>(std::hypot(s.to.x - s.from.x, s.to.y - s.from.y) / 3);
    for (int i = 1; i < steps; ++i) {
        const double share = static_cast<double>(i) / steps;
        if (crossed(Point{s.from.x + (s.to.x - s.from.x) * share, s.from.y + (s.to.y - s.from.y) * share}))
            return true;
    }
    return false;
}

bool in_box(const Box& box, Point p) {
    return p.x >= box.x && p.y >= box.y && p.x <= box.x + box.width && p.y <= box.y + box.height;
}

bool cross(const Segment& a, const Segment& b) {
    const auto side = [](const Segment& s, Point p) {
        return (s.to.x - s.from.x) * (p.y - s.from.y) - (s.to.y - s.from.y) * (p.x - s.from.x) > 0;
    };
    return side(a, b.from) != side(a, b.to) && side(b, a.from) != side(b, a.to);
}

class Placer {
  public:
    Placer(const std::vector<Disk>& disks, double width, double height)
        : disks_(disks), width_(width), height_(height) {}

    std::optional<LabelPlace> beside(const LabelWish& wish, bool brief) {
        const Size size = brief ? wish.brief : wish.full;
        if (size.width <= 0) return std::nullopt;
        for (const auto& direction : directions) {
            const Box box = box_at(wish.at, size, direction, wish.at.radius + size.height * 0.2);
            if (free(box)) return take({box, brief, false, {}, {}});
        }
        return std::nullopt;
    }

    std::optional<LabelPlace> led(const LabelWish& wish) {
        for (const double far : {0.8, 1.2, 1.7, 2.3, 3.0, 3.8, 4.8, 6.0}) {
            for (const auto& direction : directions) {
                const double off = wish.at.radius + wish.full.height * far;
                const Box box = box_at(wish.at, wish.full, direction, off);
                const Segment line{on_way(wish.at.centre, direction, wish.at.radius),
                                   on_way(wish.at.centre, direction, off)};
                if (free(box) && clear(line, wish.at)) return take({box, false, true, line.from, line.to});
            }
        }
        return std::nullopt;
    }

  private:
    LabelPlace take(const LabelPlace& place) {
        taken_.push_back(place.box);
        if (place.led) lines_.push_back({place.from, place.to});
        return place;
    }
    [[nodiscard]] bool free(const Box& box) const {
        if (box.x < 0 || box.y < 0 || box.x + box.width > width_ || box.y + box.height > height_)
            return false;
        return std::none_of(taken_.begin(), taken_.end(), [&](const Box& b) { return box.meets(b); }) &&
               std::none_of(disks_.begin(), disks_.end(), [&](const Disk& d) { return d.meets(box); }) &&
               std::none_of(lines_.begin(), lines_.end(), [&](const Segment& line) {
                   return any_point(line, [&](Point p) { return in_box(box, p); });
               });
    }
    [[nodiscard]] bool clear(const Segment& line, const Disk& own) const {
        const auto crossed = [&](Point p) {
            return std::any_of(taken_.begin(), taken_.end(), [&](const Box& b) { return in_box(b, p); }) ||
                   std::any_of(disks_.begin(), disks_.end(), [&](const Disk& d) {
                       return d.centre != own.centre &&
                              std::hypot(p.x - d.centre.x, p.y - d.centre.y) < d.radius;
                   });
        };
        return std::none_of(lines_.begin(), lines_.end(), [&](const Segment& l) { return cross(line, l); }) &&
               !any_point(line, crossed);
    }
    const std::vector<Disk>& disks_;
    double width_, height_;
    std::vector<Box> taken_;
    std::vector<Segment> lines_;
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
    std::vector<std::optional<LabelPlace>> places(wishes.size());
    const auto for_unplaced = [&](const auto& place) {
        for (std::size_t i = 0; i < wishes.size(); ++i)
            if (!places[i]) places[i] = place(wishes[i]);
    };
    for_unplaced([&](const LabelWish& wish) { return placer.beside(wish, false); });
    for_unplaced([&](const LabelWish& wish) { return wish.may_lead ? placer.led(wish) : std::nullopt; });
    for_unplaced([&](const LabelWish& wish) { return placer.beside(wish, true); });
    return places;
}

} // namespace ringwall
