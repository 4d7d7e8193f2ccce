// SPDX-License-Identifier: Apache-2.0
#include "pictures/labels.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <span>

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

/// The label's box when the middle of a side, or a corner, stands `distance` from the mark's centre in a
/// direction.
Box box_at(const Mark& mark, Size size, std::array<double, 2> direction, double distance) {
    const auto [x, y] = on_way(mark.centre, direction, distance);
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

/// Whether a line meets the box.
bool crosses(const Segment& s, const Box& box) {
    double first = 0, last = 1; // share of the line that lies within all sides seen so far
    const auto clip = [&](double from, double along, double low, double high) {
        if (along == 0) return from >= low && from <= high;
        const double a = (low - from) / along, b = (high - from) / along;
        first = std::max(first, std::min(a, b));
        last = std::min(last, std::max(a, b));
        return first <= last;
    };
    return clip(s.from.x, s.to.x - s.from.x, box.x, box.x + box.width) &&
           clip(s.from.y, s.to.y - s.from.y, box.y, box.y + box.height);
}

bool in_box(const Box& box, Point p) {
    return p.x >= box.x && p.y >= box.y && p.x <= box.x + box.width && p.y <= box.y + box.height;
}

double distance(Point p, const Segment& s) {
    const double x = s.to.x - s.from.x, y = s.to.y - s.from.y, length2 = x * x + y * y;
    const double along = length2 > 0 ? ((p.x - s.from.x) * x + (p.y - s.from.y) * y) / length2 : 0;
    const double share = std::clamp(along, 0.0, 1.0);
    return std::hypot(p.x - s.from.x - share * x, p.y - s.from.y - share * y);
}

double distance(Point p, const Box& box) {
    return std::hypot(std::max({box.x - p.x, 0.0, p.x - box.x - box.width}),
                      std::max({box.y - p.y, 0.0, p.y - box.y - box.height}));
}

Box widened(const Box& box, double by) {
    return {box.x - by, box.y - by, box.width + 2 * by, box.height + 2 * by};
}

/// Crosses, or comes so near that the two look like one.
bool near(const Segment& a, const Segment& b, double clear) {
    return distance(a.from, b) < clear || distance(a.to, b) < clear ||
           any_point(a, [&](Point p) { return distance(p, b) < clear; });
}

/// Of a mark's outermost line.
Point tip(const Mark& mark, std::size_t step) {
    const double turn =
        2 * std::numbers::pi * static_cast<double>(step) / static_cast<double>(mark.reach.size());
    return {mark.centre.x + mark.reach[step] * std::cos(turn),
            mark.centre.y - mark.reach[step] * std::sin(turn)};
}

constexpr std::array far_off{0.8, 1.2, 1.7, 2.3, 3.0, 3.8, 4.8, 6.0}; ///< in label heights
constexpr std::size_t brief_steps = 6; ///< of them for a brief label, which is low

class Placer {
  public:
    Placer(const std::vector<Mark>& marks, double width, double height, double line_clear)
        : marks_(marks), width_(width), height_(height), line_clear_(line_clear) {
        for (const Mark& mark : marks)
            outermost_.push_back(mark.outermost());
    }

    std::optional<LabelPlace> beside(const LabelWish& wish, bool brief) {
        const Size size = brief ? wish.brief : wish.full;
        if (size.width <= 0) return std::nullopt;
        for (const auto& direction : directions) {
            for (const double from :
                 {wish.at.reach_along({direction[0], direction[1]}), wish.at.outermost()}) {
                const Box box = box_at(wish.at, size, direction, from + size.height * 0.2);
                if (free(box) && !could_mislead(box, wish.at, marks_))
                    return take({box, brief, false, {}, {}});
            }
        }
        return std::nullopt;
    }

    std::optional<LabelPlace> led(const LabelWish& wish, bool brief) {
        const Size size = brief ? wish.brief : wish.full;
        if (size.width <= 0) return std::nullopt;
        for (const double far : std::span(far_off).first(brief ? brief_steps : far_off.size())) {
            for (const auto& direction : directions) {
                const double start = wish.at.reach_along({direction[0], direction[1]});
                const double off = start + size.height * far;
                const Box box = box_at(wish.at, size, direction, off);
                const Segment line{on_way(wish.at.centre, direction, start),
                                   on_way(wish.at.centre, direction, off)};
                if (free(box) && clear(line, wish.at)) return take({box, brief, true, line.from, line.to});
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
               !meets_a_mark(box) && std::none_of(lines_.begin(), lines_.end(), [&](const Segment& line) {
                   return crosses(line, widened(box, line_clear_));
               });
    }
    [[nodiscard]] bool meets_a_mark(const Box& box) const {
        for (std::size_t i = 0; i < marks_.size(); ++i) {
            const Box field = widened({marks_[i].centre.x, marks_[i].centre.y, 0, 0}, outermost_[i] + 1);
            if (field.meets(box) && marks_[i].meets(box)) return true;
        }
        return false;
    }
    [[nodiscard]] bool clear(const Segment& line, const Mark& own) const {
        const auto crossed = [&](Point p) {
            return std::any_of(taken_.begin(), taken_.end(), [&](const Box& b) { return in_box(b, p); }) ||
                   std::any_of(marks_.begin(), marks_.end(), [&](const Mark& m) {
                       const Point way{p.x - m.centre.x, p.y - m.centre.y};
                       return m.centre != own.centre && std::hypot(way.x, way.y) < m.reach_along(way);
                   });
        };
        const auto begins_at = [&](const Mark& m) { // a via inside the ring: the line would seem to be its
            const double off = std::hypot(line.from.x - m.centre.x, line.from.y - m.centre.y);
            return m.centre != own.centre && off < m.radius + line_clear_;
        };
        return std::none_of(marks_.begin(), marks_.end(), begins_at) &&
               std::none_of(lines_.begin(), lines_.end(),
                            [&](const Segment& l) { return near(line, l, line_clear_); }) &&
               !any_point(line, crossed);
    }
    const std::vector<Mark>& marks_;
    std::vector<double> outermost_; ///< of each mark
    double width_, height_, line_clear_;
    std::vector<Box> taken_;
    std::vector<Segment> lines_;
};

/// Room round a line to a label.
double line_clear(const std::vector<LabelWish>& wishes) {
    double least_height = 1e9;
    for (const auto& wish : wishes)
        least_height = std::min(least_height, wish.brief.width > 0 ? wish.brief.height : wish.full.height);
    return 0.3 * least_height;
}

using Places = std::vector<std::optional<LabelPlace>>;

Places one_round(const std::vector<LabelWish>& wishes, Placer placer, const std::vector<bool>& brief_first) {
    Places places(wishes.size());
    const auto beside = [&](bool brief) {
        return [&placer, brief](const LabelWish& wish) { return placer.beside(wish, brief); };
    };
    const auto led = [&](bool brief) {
        return [&placer, brief](const LabelWish& wish) { return placer.led(wish, brief); };
    };
    const auto place = [&](const auto& chosen, const auto& how) {
        for (std::size_t i = 0; i < wishes.size(); ++i)
            if (!places[i] && chosen(i)) places[i] = how(wishes[i]);
    };
    const auto first = [&](std::size_t i) { return brief_first[i]; };
    const auto leading = [&](std::size_t i) { return wishes[i].may_lead; };
    const auto any = [](std::size_t) { return true; };
    place(first, beside(true));
    place(first, led(true));
    place(leading, beside(false));
    place(leading, led(false));
    place(leading, beside(true));
    place(leading, led(true));
    place(any, beside(false));
    place(any, led(true));
    return places;
}

} // namespace

double Mark::outermost() const {
    return reach.empty() ? radius : *std::max_element(reach.begin(), reach.end());
}

double Mark::reach_along(Point direction) const {
    if (reach.empty()) return radius;
    const double turn = std::atan2(-direction.y, direction.x) / (2 * std::numbers::pi);
    const auto count = static_cast<double>(reach.size());
    return reach[static_cast<std::size_t>(std::lround((turn - std::floor(turn)) * count)) % reach.size()];
}

double Mark::distance(const Box& box) const {
    return std::max(0.0, ringwall::distance(centre, box) - radius);
}

double Mark::line_distance(const Box& box) const {
    double least = distance(box);
    for (std::size_t i = 0; i < reach.size(); ++i)
        least = std::min(least, ringwall::distance(tip(*this, i), box));
    return least;
}

bool Mark::meets(const Box& box) const {
    if (distance(box) <= 0) return true;
    if (distance(box) >= outermost() - radius) return false;
    for (std::size_t i = 0; i < reach.size(); ++i) {
        if (crosses({centre, tip(*this, i)}, box)) return true;
    }
    return false;
}

bool could_mislead(const Box& box, const Mark& own, const std::vector<Mark>& marks) {
    const double spare = 0.1 * box.height;
    const double clear = 1.2 * own.distance(box) + spare, line_clear = 1.2 * own.line_distance(box) + spare;
    return std::any_of(marks.begin(), marks.end(), [&](const Mark& other) {
        if (other.centre == own.centre) return false;
        const double off = other.distance(box);
        if (off < clear) return true;
        return off - (other.outermost() - other.radius) < line_clear && other.line_distance(box) < line_clear;
    });
}

std::vector<std::optional<LabelPlace>> place_labels(const std::vector<LabelWish>& wishes,
                                                    const std::vector<Mark>& marks, double field_width,
                                                    double field_height) {
    // Where full labels have taken the room for another's mere id, that id goes first in a new round.
    constexpr int rounds = 4;
    std::vector<bool> brief_first(wishes.size());
    Places places;
    for (int round = 0; round < rounds; ++round) {
        places = one_round(wishes, Placer(marks, field_width, field_height, line_clear(wishes)), brief_first);
        bool again = false;
        for (std::size_t i = 0; i < wishes.size(); ++i) {
            if (places[i] || !wishes[i].may_lead || brief_first[i]) continue;
            brief_first[i] = again = true;
        }
        if (!again) break;
    }
    return places;
}

} // namespace ringwall
