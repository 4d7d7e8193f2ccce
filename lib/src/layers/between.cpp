// SPDX-License-Identifier: Apache-2.0
#include "layers/between.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::layers {
namespace {

constexpr double least_excess = 1.5, sigmas = 8;
constexpr double least_room_um = 2 * 35 + 2 * 50;

/// Middle and robust sigma of laminate between the layers: holes (air) and copper lie far off on either side.
struct Middle {
    double value = 1, sigma = 0;
};
Middle middle_of(const Image<float>& most) {
    std::vector<float> values;
    const std::size_t stride = std::max<std::size_t>(1, most.size() / 200000);
    for (std::size_t i = 0; i < most.size(); i += stride)
        if (most.data()[i] > 0.5F && most.data()[i] < 2.5F) values.push_back(most.data()[i]);
    if (values.size() < 100) return {};
    const auto half = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), half, values.end());
    const double middle = static_cast<double>(*half);
    for (float& v : values)
        v = std::abs(v - static_cast<float>(middle));
    std::nth_element(values.begin(), half, values.end());
    return {middle, 1.4826 * static_cast<double>(*half)};
}

bool is_plated(const Hole& hole) {
    return hole.wall.state == WallState::plated || hole.wall.state == WallState::incomplete;
}

} // namespace

BetweenSight between_sight(const FlatStack& flat, double copper_ratio, double pitch_um) {
    const Middle laminate = middle_of(flat.between.most);
    BetweenSight sight;
    const double excess = std::max(least_excess, sigmas * laminate.sigma);
    sight.level = laminate.value + excess;
    // A foil thinner than the blur peaks at ratio * thickness / (sqrt(2 pi) sigma), at exp(-1/2) of it one
    // sigma on.
    const double blur = flat.blur_z_px.value_or(1);
    sight.least_foil_px =
        excess * std::sqrt(2 * std::numbers::pi * std::numbers::e) * blur / std::max(copper_ratio - 1, 1.0);
    for (const int k : flat.between.none_after) {
        const auto at = static_cast<std::size_t>(k);
        const double apart = flat.layers[at].depth_px.value() - flat.layers[at - 1].depth_px.value();
        if (pitch_um <= 0 || apart * pitch_um >= least_room_um) sight.unlooked.push_back(k);
    }
    return sight;
}

std::optional<CopperBetween> copper_between(const FlatStack& flat, double pitch_px, const BetweenSight& sight,
                                            const Hole& hole, double blur_px, double search_px) {
    const Image<float>& most = flat.between.most;
    const double wall = (hole.drill_px ? hole.drill_px : hole.bore_px).value_or(0) / 2;
    const auto [sx, sy] = flat.low_face.slope(hole.centre_px);
    const double lean = std::hypot(sx, sy) * pitch_px * pitch_px * flat.thickness_px.value_or(0) / 2;
    const double from = wall + lean + (is_plated(hole) ? 1 + 3 * blur_px : 0), to = wall + search_px + lean;
    const Point c = hole.centre_px;
    std::optional<CopperBetween> nearest;
    for (int y = std::max(0, static_cast<int>(c.y - to));
         y <= std::min(most.height() - 1, static_cast<int>(c.y + to)); ++y)
        for (int x = std::max(0, static_cast<int>(c.x - to));
             x <= std::min(most.width() - 1, static_cast<int>(c.x + to)); ++x) {
            if (static_cast<double>(most(x, y)) < sight.level) continue;
            const double dx = x - c.x, dy = c.y - y, r = std::hypot(dx, dy);
            if (r < from || r > to) continue;
            const double gap = std::max(0.0, r - wall - lean);
            if (nearest && gap >= nearest->gap_px) continue;
            double angle = std::atan2(dy, dx) * 180 / std::numbers::pi;
            if (angle < 0) angle += 360;
            nearest = CopperBetween{gap, static_cast<double>(flat.between.depth_px(x, y)), angle};
        }
    return nearest;
}

} // namespace ringwall::layers
