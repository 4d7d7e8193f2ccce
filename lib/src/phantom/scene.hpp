// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/figure.hpp"

#include <cstdint>
#include <map>
#include <unordered_map>
#include <vector>

namespace ringwall::phantom {

/// What the beam meets at one point of the board.
struct Stack {
    enum class Body : std::uint8_t { air, laminate, barrel, steel };
    Body body = Body::air;
    std::uint16_t parts = 0;  ///< number of a set of parts, see Scene
    std::uint32_t copper = 0; ///< bit n: layer n has copper here
    std::uint32_t pour = 0;   ///< bit n: that copper belongs to a pour or a large polygon
    bool operator==(const Stack&) const = default;
};

/// A pin or screw sticks out on both sides of the board.
inline constexpr double pin_length_mm = 8;

/// One step of building the board up: where the figure covers a point, the stack there changes.
struct Step {
    enum class Act : std::uint8_t { board, copper, no_copper, barrel, air, steel, part };
    int figure;
    Act act;
    std::uint16_t number = 0; ///< of the layer or of the kind of part
    bool pour = false;
};

/// A board as an ordered list of figures and what each does. Equal figures share one entry, so that edges
/// that coincide on several layers are one edge.
class Scene {
  public:
    /// Throws Error(usage): a figure without area, more than 32 layers, a slot with arcs, bites or an oval.
    explicit Scene(const Board& board);

    [[nodiscard]] const std::vector<Figure>& figures() const { return figures_; }
    [[nodiscard]] const std::vector<Box>& boxes() const { return boxes_; }
    [[nodiscard]] const std::vector<Step>& steps() const { return steps_; }
    /// Of a point that no figure covers.
    [[nodiscard]] Stack ground() const { return ground_; }
    /// The stack after a step whose figure covers the point. Makes new sets of parts as they turn up.
    Stack after(Stack stack, const Step& step);
    /// Whether a later step undoes an earlier one wherever both cover a point.
    static bool undoes(const Step& later, const Step& earlier);
    /// Of any point, all steps applied (slow: for few points).
    Stack at(Point p);
    /// Parts of a set: how many of each kind.
    [[nodiscard]] const std::vector<int>& parts_of(std::uint16_t set) const { return sets_[set]; }

  private:
    int figure_number(const Figure& figure);
    void add_layers(const Board& board);
    void add_drill(const Drill& drill);
    void add_parts(const Board& board);

    std::vector<Figure> figures_;
    std::vector<Box> boxes_;
    std::vector<Step> steps_;
    Stack ground_;
    std::map<std::vector<double>, int> known_;
    std::vector<std::vector<int>> sets_; ///< per set: count of each kind of part
    std::map<std::vector<int>, std::uint16_t> set_numbers_;
    std::map<std::pair<std::uint16_t, std::uint16_t>, std::uint16_t> next_set_;
};

/// The contour of a drill: what the drill removed (figure 0), then a disk for every bite.
std::vector<Figure> drilled_figures(const Drill& drill);
/// The boundary of the air with the plating in place, bites and missing arcs left out.
Figure bore_figure(const Drill& drill);

/// Transmission of stacks in a beam, each computed once.
class StackTransmission {
  public:
    StackTransmission(const Board& board, const Scene& scene, const Beam& beam);
    float of(Stack stack);

  private:
    double compute(Stack stack) const;
    struct Line { ///< attenuation of every thing at one energy, as exponents
        double weight, laminate, barrel, steel;
        std::vector<double> layers;
        std::vector<double> parts; ///< by kind
    };
    const Scene& scene_;
    std::vector<Line> lines_;
    std::unordered_map<std::uint64_t, float> known_;
};

/// Kinds of part of a board (substance and thickness), in the order of Step::number.
std::vector<const Part*> part_kinds(const Board& board);

} // namespace ringwall::phantom
