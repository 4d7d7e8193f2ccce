// SPDX-License-Identifier: Apache-2.0
#include "phantom/figure.hpp"

#include <cmath>

namespace ringwall::phantom {
namespace {

class Move {
  public:
    Move(const Board& board, double turn_deg, Point shift)
        : middle_{board.width_mm / 2, board.height_mm / 2}, unit_(direction(turn_deg)), shift_(shift),
          turn_deg_(turn_deg) {}

    [[nodiscard]] Point of(Point p) const {
        const double x = p.x - middle_.x, y = p.y - middle_.y; // anticlockwise as seen, y down
        return {middle_.x + unit_.x * x - unit_.y * y + shift_.x,
                middle_.y + unit_.y * x + unit_.x * y + shift_.y};
    }
    [[nodiscard]] double of_angle(double angle_deg) const {
        return std::fmod(angle_deg + turn_deg_ + 720, 360.0);
    }

    Shape operator()(const Circle& c) const { return Circle{of(c.centre_mm), c.radius_mm}; }
    Shape operator()(const Ring& r) const { return Ring{of(r.centre_mm), r.inner_mm, r.outer_mm}; }
    Shape operator()(const Track& t) const { return Track{of(t.from_mm), of(t.to_mm), t.width_mm}; }
    Shape operator()(const Polygon& polygon) const {
        Polygon moved;
        for (const Point& p : polygon.corners_mm)
            moved.corners_mm.push_back(of(p));
        return moved;
    }

  private:
    Point middle_, unit_, shift_;
    double turn_deg_;
};

Drill moved(const Drill& drill, const Move& move) {
    Drill copy = drill;
    copy.centre_mm = move.of(drill.centre_mm);
    copy.slot_to_mm = move.of(drill.slot_to_mm);
    copy.oval_axis_deg = move.of_angle(drill.oval_axis_deg);
    for (auto& [from, to] : copy.missing_arcs_deg) {
        const double width = to - from;
        from = move.of_angle(from);
        to = from + width;
    }
    for (Bite& bite : copy.bites)
        bite.angle_deg = move.of_angle(bite.angle_deg);
    return copy;
}

} // namespace

Board laid_down(const Board& board, double turn_deg, Point shift_mm) {
    const Move move(board, turn_deg, shift_mm);
    Board copy = board;
    if (!board.outline.corners_mm.empty()) copy.outline = std::get<Polygon>(move(board.outline));
    for (CopperLayer& layer : copy.layers)
        for (Stroke& stroke : layer.strokes)
            stroke.shape = std::visit(move, stroke.shape);
    for (Drill& drill : copy.drills)
        drill = moved(drill, move);
    for (Part& part : copy.parts)
        part.shape = std::visit(move, part.shape);
    return copy;
}

} // namespace ringwall::phantom
