// SPDX-License-Identifier: Apache-2.0
#include "phantom/walker.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::phantom {
namespace {

constexpr std::size_t deepest =
    40; ///< levels of splitting; a tile of 2^30 cells needs 31, a cell's inside a few more

} // namespace

Walker::Walker(Scene& scene, CellGrid grid)
    : scene_(scene), grid_(grid), scratch_(deepest), distances_(scene.figures().size()),
      distance_age_(scene.figures().size(), 0) {}

double Walker::distance(int figure, Point p) {
    const auto f = static_cast<std::size_t>(figure);
    if (distance_age_[f] != age_) {
        distance_age_[f] = age_;
        distances_[f] = signed_distance(scene_.figures()[f], p);
    }
    return distances_[f];
}

void Walker::narrow(Point centre, double half_side, const List& among, List& kept) {
    const Box square{centre.x - half_side, centre.y - half_side, centre.x + half_side, centre.y + half_side};
    const double half_diagonal = half_side * std::numbers::sqrt2;
    kept.clear();
    ++age_;
    for (Live live : among) {
        if (live.open) {
            const int figure = scene_.steps()[static_cast<std::size_t>(live.step)].figure;
            if (!scene_.boxes()[static_cast<std::size_t>(figure)].meets(square)) continue;
            const double d = distance(figure, centre);
            if (d >= half_diagonal) continue;
            live.open = d > -half_diagonal;
        }
        if (!live.open) { // whatever it undoes need not be followed further
            const Step& step = scene_.steps()[static_cast<std::size_t>(live.step)];
            std::erase_if(kept, [&](Live earlier) {
                return Scene::undoes(step, scene_.steps()[static_cast<std::size_t>(earlier.step)]);
            });
        }
        kept.push_back(live);
    }
}

int Walker::open_figure(const List& list) const {
    int found = -1;
    for (const Live& live : list) {
        if (!live.open) continue;
        const int figure = scene_.steps()[static_cast<std::size_t>(live.step)].figure;
        if (found >= 0 && figure != found) return -2;
        found = figure;
    }
    return found;
}

Stack Walker::stack(const List& list, bool open_ones_cover) {
    Stack stack = scene_.ground();
    for (const Live& live : list)
        if (!live.open || open_ones_cover)
            stack = scene_.after(stack, scene_.steps()[static_cast<std::size_t>(live.step)]);
    return stack;
}

Stack Walker::stack_at(const List& list, Point p) {
    Stack stack = scene_.ground();
    for (const Live& live : list) {
        const Step& step = scene_.steps()[static_cast<std::size_t>(live.step)];
        if (!live.open || covers(scene_.figures()[static_cast<std::size_t>(step.figure)], p))
            stack = scene_.after(stack, step);
    }
    return stack;
}

} // namespace ringwall::phantom
