// SPDX-License-Identifier: Apache-2.0
#include "compare/frame.hpp"

#include "compare/similarity.hpp"
#include "ringwall/error.hpp"

#include <cmath>

namespace ringwall::compare {

Squared::Squared(const BoardRecord& board) {
    if (board.sources.empty() || !board.sources.front().pixel_xy_mm) return;
    const auto [x_mm, y_mm] = *board.sources.front().pixel_xy_mm;
    const double mean = std::sqrt(x_mm * y_mm);
    if (!(mean > 0)) return;
    x = x_mm / mean, y = y_mm / mean;
}

Estimate pixel_mm(const BoardRecord& board) {
    return board.sources.empty() ? Estimate::missing("nothing was measured") : board.sources.front().pixel_mm;
}

double relative_u(const Estimate& estimate) {
    return estimate && estimate.value() != 0 ? estimate.u() / std::abs(estimate.value()) : 0;
}

Frame::Frame(const BoardRecord& old_board, const BoardRecord& revised_board, const HoleAlignment& alignment)
    : old_squared_(old_board), revised_squared_(revised_board), fit_(*alignment.fit) {}

Point Frame::revised_px(Point old_px) const {
    return revised_squared_.back(fit_.similarity(old_squared_(old_px)));
}
Point Frame::old_px(Point revised_px) const {
    return old_squared_.back(inverse(fit_.similarity, revised_squared_(revised_px)));
}
double Frame::scale() const {
    return scale_of(fit_.similarity);
}

std::array<std::array<double, 3>, 2> Frame::matrix() const {
    const Point origin = revised_px({0, 0}), x = revised_px({1, 0}), y = revised_px({0, 1});
    return {{{x.x - origin.x, y.x - origin.x, origin.x}, {x.y - origin.y, y.y - origin.y, origin.y}}};
}

namespace {

double u_of(const HoleRecord& hole) {
    constexpr double least_px = 0.005;
    return std::max(least_px, std::sqrt((square(hole.u_x_px) + square(hole.u_y_px)) / 2));
}

AlignHole align_hole(const HoleRecord& hole, const Squared& squared) {
    return {squared({hole.x_px, hole.y_px}), u_of(hole), hole.bore_px.value_or(0)};
}

std::size_t place_of(const std::string& id, const BoardRecord& board, const std::vector<std::size_t>& holes,
                     const char* which) {
    for (std::size_t i = 0; i < holes.size(); ++i)
        if (board.holes[holes[i]].id == id) return i;
    throw Error(Fault::usage, "--pair: the " + std::string(which) + " board has no hole " + id);
}

std::vector<std::size_t> first_source(const BoardRecord& board) {
    std::vector<std::size_t> holes;
    for (std::size_t i = 0; i < board.holes.size(); ++i)
        if (board.holes[i].source == 0) holes.push_back(i);
    return holes;
}

} // namespace

Estimate Frame::off_px(const HoleRecord& old_hole, const HoleRecord& revised_hole) const {
    const Point old = old_squared_({old_hole.x_px, old_hole.y_px});
    const Point there = revised_squared_({revised_hole.x_px, revised_hole.y_px});
    const double u = std::hypot(u_of(old_hole) * scale(), u_of(revised_hole)) * fit_.stretch;
    return Estimate::of(std::sqrt(distance2(fit_.similarity(old), there)), std::hypot(u, fit_.u_px(old)));
}

AlignTask align_task(const BoardRecord& old_board, const BoardRecord& revised_board,
                     const CompareOptions& options) {
    AlignTask task;
    task.old_holes = first_source(old_board), task.revised_holes = first_source(revised_board);
    const Squared old_squared(old_board), revised_squared(revised_board);
    for (const std::size_t hole : task.old_holes)
        task.request.old_holes.push_back(align_hole(old_board.holes[hole], old_squared));
    for (const std::size_t hole : task.revised_holes)
        task.request.revised_holes.push_back(align_hole(revised_board.holes[hole], revised_squared));
    const Estimate old_mm = pixel_mm(old_board), revised_mm = pixel_mm(revised_board);
    if (old_mm && revised_mm && revised_mm.value() > 0) {
        task.request.scale = old_mm.value() / revised_mm.value();
        task.request.scale_relative_u = std::hypot(relative_u(old_mm), relative_u(revised_mm));
    }
    for (const auto& [old_id, revised_id] : options.by_hand)
        task.request.by_hand.push_back({place_of(old_id, old_board, task.old_holes, "old"),
                                        place_of(revised_id, revised_board, task.revised_holes, "revised")});
    return task;
}

} // namespace ringwall::compare
