// SPDX-License-Identifier: Apache-2.0
#include "rings/scan.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

struct Walk {
    const Patch& patch;
    const RingLevels& levels;
    Point direction;
    double settle_px; ///< blur of an edge in the smoothed patch, 2.5 sigma

    [[nodiscard]] Point point(double rho) const {
        return {patch.centre.x + rho / patch.bin * direction.x,
                patch.centre.y + rho / patch.bin * direction.y};
    }
    [[nodiscard]] bool inside(double rho, std::size_t& index) const {
        const Point p = point(rho);
        const int x = static_cast<int>(std::lround(p.x)), y = static_cast<int>(std::lround(p.y));
        if (!patch.contains(x, y)) return false;
        index = patch.at(x, y);
        return true;
    }
    [[nodiscard]] double smooth(double rho) const {
        const Point p = point(rho);
        const int x = std::clamp(static_cast<int>(std::floor(p.x)), 0, patch.width - 2);
        const int y = std::clamp(static_cast<int>(std::floor(p.y)), 0, patch.height - 2);
        const double fx = p.x - x, fy = p.y - y;
        const float* a = patch.smooth.data() + patch.at(x, y);
        const float* b = a + patch.width;
        return (1 - fy) * ((1 - fx) * static_cast<double>(a[0]) + fx * static_cast<double>(a[1])) +
               fy * ((1 - fx) * static_cast<double>(b[0]) + fx * static_cast<double>(b[1]));
    }
    /// Where the smoothed T falls through the level between k-1 and k foils, near `rho`.
    [[nodiscard]] double crossing(double rho, int k) const {
        const double above = k == 1 ? levels.laminate : levels.copper[static_cast<std::size_t>(k - 2)];
        const double middle = 0.5 * (above + levels.copper[static_cast<std::size_t>(k - 1)]);
        double before = rho - patch.bin, after = rho + 0.5 * patch.bin;
        const double tb = smooth(before), ta = smooth(after);
        if (!(tb > middle && ta < middle)) return rho;
        return before + (tb - middle) / (tb - ta) * (after - before);
    }
};

/// Where a ray from the hole first meets a neighbour's wall; 0: it passes by.
double neighbour_wall(const Hole& hole, std::span<const Hole> neighbours, Point direction, double rho) {
    double nearest = 0;
    for (const Hole& other : neighbours) {
        const double dx = other.centre_px.x - hole.centre_px.x, dy = other.centre_px.y - hole.centre_px.y;
        if (dx * dx + dy * dy < 1 || other.wall.state == WallState::bare) continue;
        const double r = std::max(other.drill_px.value_or(0), other.bore_px.value_or(0)) / 2;
        const double along = dx * direction.x + dy * direction.y;
        const double across2 = dx * dx + dy * dy - along * along;
        if (r <= 0 || across2 >= r * r || along <= 0) continue;
        const double at = along - std::sqrt(r * r - across2);
        if (std::abs(at - rho) < 3 * r && (nearest == 0 || at < nearest)) nearest = at;
    }
    return nearest;
}

void follow_copper(const Walk& walk, double rho, double end, RaySight& sight) {
    std::size_t i = 0;
    const double settled = sight.first + walk.settle_px;
    int foils = 0;
    for (; rho < end; rho += 0.5 * walk.patch.bin) {
        if (!walk.inside(rho, i) || walk.patch.use[i] != Use::free) break;
        const int k = walk.patch.foils[i];
        for (int plane = 1; plane <= std::min(k, most_planes); ++plane)
            if (double& at = sight.plane[static_cast<std::size_t>(plane - 1)]; at == 0)
                at = walk.crossing(rho, plane);
        if (foils == 0 && rho >= settled) foils = k;
        if (foils != 0 && k != foils && sight.next == 0) sight.next = rho;
    }
    sight.foils = std::max(foils, 1);
    if (sight.next == 0 && rho < end) sight.next = rho;
}

/// Void on a board that is no hole found: a burned-in label or text, or the end of the board.
enum class Void { none, label, edge };

/// What begins at `rho`: at least two px of void; a label when board follows before `end`.
Void void_at(const Walk& walk, double rho, double end) {
    const double half = 0.5 * (walk.levels.open + walk.levels.laminate);
    const double pace = 0.5 * walk.patch.bin;
    double bright = 0;
    bool board_after = false;
    std::size_t i = 0;
    for (; rho < end && walk.inside(rho, i); rho += pace) {
        if (walk.patch.use[i] == Use::neighbour) return Void::none;
        const bool is_void = static_cast<double>(walk.patch.smooth[i]) > half;
        if (!is_void && bright < 2) return Void::none;
        if (!is_void) {
            board_after = true;
            break;
        }
        bright += pace;
    }
    return bright < 2 ? Void::none : board_after ? Void::label : Void::edge;
}

RaySight look_along(const Walk& walk, const Hole& hole, std::span<const Hole> neighbours, bool plated,
                    double start, double end) {
    RaySight sight;
    const Patch& patch = walk.patch;
    std::size_t i = 0;
    double rho = start;
    const double pace = 0.5 * patch.bin, void_above = 0.5 * (walk.levels.open + walk.levels.laminate);
    while (rho < end && walk.inside(rho, i) && patch.use[i] == Use::wall)
        rho += pace;
    const double first_free = rho;
    const auto joined = [&] { return patch.label[i] != 0 && patch.label[i] == patch.wall_label; };
    if (plated) {
        while (rho < end && walk.inside(rho, i) && joined())
            rho += pace;
        if (rho > first_free) sight.own_end = rho;
        sight.own_to_the_end = rho >= end || (rho > first_free && !walk.inside(rho, i));
    }
    for (; rho < end; rho += pace) {
        sight.looked_to = rho;
        if (!walk.inside(rho, i)) {
            sight.cut = true;
            break;
        }
        if (patch.use[i] == Use::neighbour) {
            const double at = neighbour_wall(hole, neighbours, walk.direction, rho);
            if (at <= 0) continue;
            sight.first = at;
            sight.neighbour = true;
            break;
        }
        if (patch.use[i] == Use::dense) {
            sight.hidden = true;
            break;
        }
        if (patch.use[i] != Use::free) continue;
        if (patch.foils[i] == 0) {
            if (static_cast<double>(patch.smooth[i]) <= void_above) continue;
            const Void what = void_at(walk, rho, end);
            if (what == Void::none) continue;
            (what == Void::label ? sight.hidden : sight.cut) = true;
            break;
        }
        sight.label = patch.label[i];
        sight.at_wall = !plated && rho <= first_free + pace;
        sight.first = sight.at_wall ? rho : walk.crossing(rho, 1);
        follow_copper(walk, rho, end, sight);
        break;
    }
    return sight;
}

} // namespace

std::array<RaySight, rays> scan(const Patch& patch, const RingLevels& levels, const Hole& hole,
                                const WallLine& wall, std::span<const Hole> neighbours, double wall_zone_px,
                                double reach_px) {
    std::array<RaySight, rays> sights{};
    if (patch.width < 2 || patch.height < 2) return sights;
    const bool plated = hole.wall.state == WallState::plated || hole.wall.state == WallState::incomplete;
    const double settle = 2.5 * std::hypot(levels.blur_px, patch.smoothing_px);
    for (int i = 0; i < rays; ++i) {
        const auto at = static_cast<std::size_t>(i);
        const Walk walk{patch, levels, ray_direction(i), settle};
        const double start = wall.radius_px[at] + wall_zone_px;
        sights[at] = look_along(walk, hole, neighbours, plated, start, wall.largest_px + reach_px);
    }
    return sights;
}

} // namespace ringwall::rings
