// SPDX-License-Identifier: Apache-2.0
#include "phantom/scene.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::phantom {
namespace {

/// Copper polygons from this area on count as planes.
constexpr double pour_area_mm2 = 20;

[[noreturn]] void refuse(const std::string& what) {
    throw Error(Fault::usage, "phantom: " + what);
}

double polygon_area(const Polygon& polygon) {
    double twice = 0;
    const auto& c = polygon.corners_mm;
    for (std::size_t i = 0, j = c.size() - 1; i < c.size(); j = i++)
        twice += c[j].x * c[i].y - c[i].x * c[j].y;
    return std::abs(twice) / 2;
}

struct Numbers { ///< a figure written out as numbers, its kind first
    std::vector<double> operator()(const Circle& c) const {
        return {0, c.centre_mm.x, c.centre_mm.y, c.radius_mm};
    }
    std::vector<double> operator()(const Ring& r) const {
        return {1, r.centre_mm.x, r.centre_mm.y, r.inner_mm, r.outer_mm};
    }
    std::vector<double> operator()(const Polygon& p) const {
        std::vector<double> numbers{2};
        for (const Point& c : p.corners_mm)
            numbers.insert(numbers.end(), {c.x, c.y});
        return numbers;
    }
    std::vector<double> operator()(const Track& t) const {
        return {3, t.from_mm.x, t.from_mm.y, t.to_mm.x, t.to_mm.y, t.width_mm};
    }
    std::vector<double> operator()(const SwungDisk& d) const {
        return {4, d.centre_mm.x, d.centre_mm.y, d.radius_mm, d.swing_mm, d.axis_deg, d.from_deg, d.to_deg};
    }
};

struct HasArea {
    bool operator()(const Circle& c) const { return c.radius_mm > 0; }
    bool operator()(const Ring& r) const { return r.inner_mm >= 0 && r.outer_mm > r.inner_mm; }
    bool operator()(const Polygon& p) const { return p.corners_mm.size() >= 3 && polygon_area(p) > 0; }
    bool operator()(const Track& t) const { return t.width_mm > 0; }
    bool operator()(const SwungDisk& d) const { return d.swing_mm >= 0 && d.radius_mm > 2 * d.swing_mm; }
};

Figure opening(const Drill& drill, double inset_mm) {
    const double radius = drill.drill_mm / 2 - inset_mm;
    if (drill.is_slot) return Track{drill.centre_mm, drill.slot_to_mm, 2 * radius};
    if (drill.oval_mm == 0) return Circle{drill.centre_mm, radius};
    return SwungDisk{drill.centre_mm, radius, drill.oval_mm, drill.oval_axis_deg, 0, 360};
}

void check(const Drill& drill) {
    if (!(drill.drill_mm > 0) || drill.plating_um < 0 || drill.plating_um / 1000 >= drill.drill_mm / 2)
        refuse("expected a drill wider than its plating, got " + std::to_string(drill.drill_mm) + " mm and " +
               std::to_string(drill.plating_um) + " µm");
    if (drill.is_slot && (drill.oval_mm != 0 || !drill.bites.empty() || !drill.missing_arcs_deg.empty()))
        refuse("a slot with bites, missing arcs or an oval is not drawn");
}

} // namespace

std::vector<Figure> drilled_figures(const Drill& drill) {
    std::vector<Figure> figures{opening(drill, 0)};
    for (const Bite& bite : drill.bites) {
        const double swing =
            drill.oval_mm * std::cos(2 * (bite.angle_deg - drill.oval_axis_deg) * 0.017453292519943295);
        const double r = drill.drill_mm / 2 + swing;
        const Point unit = direction(bite.angle_deg);
        figures.push_back(
            Circle{{drill.centre_mm.x + r * unit.x, drill.centre_mm.y + r * unit.y}, bite.radius_mm});
    }
    return figures;
}

Figure bore_figure(const Drill& drill) {
    return opening(drill, drill.plating_um / 1000);
}

std::vector<const Part*> part_kinds(const Board& board) {
    std::vector<const Part*> kinds;
    for (const Part& part : board.parts) {
        const auto same = [&](const Part* kind) {
            return kind->substance.name == part.substance.name && kind->thickness_mm == part.thickness_mm;
        };
        if (std::none_of(kinds.begin(), kinds.end(), same)) kinds.push_back(&part);
    }
    return kinds;
}

Scene::Scene(const Board& board) : sets_{{}} {
    if (board.layers.size() > 32)
        refuse("expected 32 layers at most, got " + std::to_string(board.layers.size()));
    set_numbers_[{}] = 0;
    if (board.outline.corners_mm.empty()) {
        ground_.body = Stack::Body::laminate;
        for (std::size_t n = 0; n < board.layers.size(); ++n)
            if (board.layers[n].poured) ground_.copper |= std::uint32_t{1} << n;
        ground_.pour = ground_.copper;
    } else {
        steps_.push_back({figure_number(board.outline), Step::Act::board});
    }
    add_layers(board);
    for (const Drill& drill : board.drills)
        add_drill(drill);
    add_parts(board);
}

int Scene::figure_number(const Figure& figure) {
    if (!std::visit(HasArea{}, figure)) refuse("a figure without area");
    const auto [place, fresh] =
        known_.try_emplace(std::visit(Numbers{}, figure), static_cast<int>(figures_.size()));
    if (fresh) {
        figures_.push_back(figure);
        boxes_.push_back(box_of(figure));
    }
    return place->second;
}

void Scene::add_layers(const Board& board) {
    for (std::size_t n = 0; n < board.layers.size(); ++n) {
        const CopperLayer& layer = board.layers[n];
        const auto number = static_cast<std::uint16_t>(n);
        if (layer.poured && !board.outline.corners_mm.empty())
            steps_.push_back({figure_number(board.outline), Step::Act::copper, number, true});
        for (const Stroke& stroke : layer.strokes) {
            const auto* polygon = std::get_if<Polygon>(&stroke.shape);
            const bool pour = polygon != nullptr && polygon_area(*polygon) >= pour_area_mm2;
            const auto act = stroke.copper ? Step::Act::copper : Step::Act::no_copper;
            steps_.push_back({figure_number(figure_of(stroke.shape)), act, number, pour});
        }
    }
}

void Scene::add_drill(const Drill& drill) {
    check(drill);
    const std::vector<Figure> drilled = drilled_figures(drill);
    const bool plated = drill.plating_um > 0;
    steps_.push_back({figure_number(drilled[0]), plated ? Step::Act::barrel : Step::Act::air});
    if (plated) steps_.push_back({figure_number(bore_figure(drill)), Step::Act::air});
    if (plated)
        for (const auto& [from, to] : drill.missing_arcs_deg)
            steps_.push_back({figure_number(SwungDisk{drill.centre_mm, drill.drill_mm / 2, drill.oval_mm,
                                                      drill.oval_axis_deg, from, to < from ? to + 360 : to}),
                              Step::Act::air});
    for (std::size_t i = 1; i < drilled.size(); ++i)
        steps_.push_back({figure_number(drilled[i]), Step::Act::air});
    if (drill.filled_mm > 0)
        steps_.push_back({figure_number(Circle{drill.centre_mm, drill.filled_mm / 2}), Step::Act::steel});
}

void Scene::add_parts(const Board& board) {
    const std::vector<const Part*> kinds = part_kinds(board);
    sets_[0].assign(kinds.size(), 0);
    set_numbers_.clear();
    set_numbers_[sets_[0]] = 0;
    for (const Part& part : board.parts) {
        const auto same = [&](const Part* kind) {
            return kind->substance.name == part.substance.name && kind->thickness_mm == part.thickness_mm;
        };
        const auto number = std::find_if(kinds.begin(), kinds.end(), same) - kinds.begin();
        steps_.push_back(
            {figure_number(figure_of(part.shape)), Step::Act::part, static_cast<std::uint16_t>(number)});
    }
}

Stack Scene::after(Stack stack, const Step& step) {
    const std::uint32_t bit = std::uint32_t{1} << (step.number & 31U);
    const auto only = [&](Stack::Body body) { return Stack{body, stack.parts, 0, 0}; };
    switch (step.act) {
    case Step::Act::board:
        return only(Stack::Body::laminate);
    case Step::Act::barrel:
        return only(Stack::Body::barrel);
    case Step::Act::air:
        return only(Stack::Body::air);
    case Step::Act::steel:
        return only(Stack::Body::steel);
    case Step::Act::copper:
        if (stack.body == Stack::Body::laminate) {
            stack.copper |= bit;
            stack.pour = step.pour ? stack.pour | bit : stack.pour & ~bit;
        }
        return stack;
    case Step::Act::no_copper:
        stack.copper &= ~bit;
        stack.pour &= ~bit;
        return stack;
    case Step::Act::part:
        break;
    }
    const auto key = std::pair{stack.parts, step.number};
    if (const auto known = next_set_.find(key); known != next_set_.end()) {
        stack.parts = known->second;
        return stack;
    }
    std::vector<int> set = sets_[stack.parts];
    ++set[step.number];
    const auto [place, fresh] = set_numbers_.try_emplace(set, static_cast<std::uint16_t>(sets_.size()));
    if (fresh) sets_.push_back(set);
    stack.parts = next_set_[key] = place->second;
    return stack;
}

bool Scene::undoes(const Step& later, const Step& earlier) {
    const auto sets_body = [](Step::Act act) {
        return act == Step::Act::board || act == Step::Act::barrel || act == Step::Act::air ||
               act == Step::Act::steel;
    };
    if (earlier.act == Step::Act::part || later.act == Step::Act::part) return false;
    if (sets_body(later.act)) return true;
    return !sets_body(earlier.act) && later.number == earlier.number;
}

Stack Scene::at(Point p) {
    Stack stack = ground_;
    for (const Step& step : steps_)
        if (covers(figures_[static_cast<std::size_t>(step.figure)], p)) stack = after(stack, step);
    return stack;
}

StackTransmission::StackTransmission(const Board& board, const Scene& scene, const Beam& beam)
    : scene_(scene) {
    const std::vector<const Part*> kinds = part_kinds(board);
    const auto exponent = [](const Substance& substance, double kev, double mm) {
        return linear_attenuation_per_cm(substance, kev) * mm / 10;
    };
    for (const auto& [kev, weight] : beam.lines) {
        Line line{weight,
                  exponent(board.laminate, kev, board.thickness_mm),
                  exponent(copper(), kev, board.thickness_mm),
                  exponent(steel(), kev, pin_length_mm),
                  {},
                  {}};
        for (const CopperLayer& layer : board.layers)
            line.layers.push_back(exponent(copper(), kev, layer.thickness_um / 1000));
        for (const Part* kind : kinds)
            line.parts.push_back(exponent(kind->substance, kev, kind->thickness_mm));
        lines_.push_back(std::move(line));
    }
}

double StackTransmission::compute(Stack stack) const {
    const std::vector<int>& parts = scene_.parts_of(stack.parts);
    double sum = 0;
    for (const Line& line : lines_) {
        double p = 0;
        if (stack.body == Stack::Body::laminate) p = line.laminate;
        if (stack.body == Stack::Body::barrel) p = line.barrel;
        if (stack.body == Stack::Body::steel) p = line.steel;
        for (std::size_t n = 0; n < line.layers.size(); ++n)
            if ((stack.copper >> n & 1U) != 0) p += line.layers[n];
        for (std::size_t k = 0; k < line.parts.size(); ++k)
            p += parts[k] * line.parts[k];
        sum += line.weight * std::exp(-p);
    }
    return sum;
}

float StackTransmission::of(Stack stack) {
    const std::uint64_t key = (static_cast<std::uint64_t>(stack.body) << 48) |
                              (static_cast<std::uint64_t>(stack.parts) << 32) | stack.copper;
    const auto known = known_.find(key);
    if (known != known_.end()) return known->second;
    return known_[key] = static_cast<float>(compute(stack));
}

} // namespace ringwall::phantom
