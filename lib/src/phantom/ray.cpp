// SPDX-License-Identifier: Apache-2.0
#include "phantom/ray.hpp"

#include <algorithm>

namespace ringwall::phantom {
namespace {

constexpr double nothing_mm = 1e-8; ///< stretches shorter than this are rounding

double reach_within(const Box& field, Point origin, Point unit, double reach) {
    if (unit.x > 0) reach = std::min(reach, (field.right - origin.x) / unit.x);
    if (unit.x < 0) reach = std::min(reach, (field.left - origin.x) / unit.x);
    if (unit.y > 0) reach = std::min(reach, (field.bottom - origin.y) / unit.y);
    if (unit.y < 0) reach = std::min(reach, (field.top - origin.y) / unit.y);
    return std::max(reach, 0.0);
}

} // namespace

RayReader::RayReader(const Board& board, Scene& scene, Point centre, double reach)
    : scene_(scene), field_{0, 0, board.width_mm, board.height_mm} {
    const Box around{centre.x - reach, centre.y - reach, centre.x + reach, centre.y + reach};
    for (int i = 0; i < static_cast<int>(scene.steps().size()); ++i) {
        const int figure = scene.steps()[static_cast<std::size_t>(i)].figure;
        if (scene.boxes()[static_cast<std::size_t>(figure)].meets(around)) near_.push_back(i);
    }
}

const std::vector<RayReader::Stretch>& RayReader::read(Point origin, double angle_deg, double reach) {
    return read(origin, direction(angle_deg), reach);
}

const std::vector<RayReader::Stretch>& RayReader::read(Point origin, Point unit, double reach) {
    reach = reach_within(field_, origin, unit, reach);
    const Point end{origin.x + reach * unit.x, origin.y + reach * unit.y};
    const Box box{std::min(origin.x, end.x), std::min(origin.y, end.y), std::max(origin.x, end.x),
                  std::max(origin.y, end.y)};
    on_ray_.clear();
    crossings_.assign({reach});
    for (const int i : near_) {
        const auto figure = static_cast<std::size_t>(scene_.steps()[static_cast<std::size_t>(i)].figure);
        if (!scene_.boxes()[figure].meets(box)) continue;
        const std::size_t before = crossings_.size();
        append_crossings(scene_.figures()[figure], origin, unit, reach, crossings_);
        const auto outside = [&](double s) { return !(s > 0) || s > reach; };
        crossings_.erase(std::remove_if(crossings_.begin() + static_cast<std::ptrdiff_t>(before),
                                        crossings_.end(), outside),
                         crossings_.end());
        const bool crossed = crossings_.size() > before;
        if (crossed || covers(scene_.figures()[figure], origin)) on_ray_.push_back(i);
    }
    std::sort(crossings_.begin(), crossings_.end());
    stretches_.clear();
    double from = 0;
    for (const double to : crossings_) {
        if (to - from < nothing_mm) continue;
        const double middle = (from + to) / 2;
        const Point p{origin.x + middle * unit.x, origin.y + middle * unit.y};
        Stack stack = scene_.ground();
        for (const int i : on_ray_) {
            const Step& step = scene_.steps()[static_cast<std::size_t>(i)];
            if (covers(scene_.figures()[static_cast<std::size_t>(step.figure)], p))
                stack = scene_.after(stack, step);
        }
        if (!stretches_.empty() && stretches_.back().stack == stack)
            stretches_.back().to_mm = to;
        else
            stretches_.push_back({from, to, stack});
        from = to;
    }
    return stretches_;
}

} // namespace ringwall::phantom
