// SPDX-License-Identifier: Apache-2.0
#include "rings/wall_line.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

constexpr double degree = std::numbers::pi / 180;

std::array<Point, rays> make_directions() {
    std::array<Point, rays> directions{};
    for (int i = 0; i < rays; ++i)
        directions[static_cast<std::size_t>(i)] = {std::cos(i * degree), -std::sin(i * degree)};
    return directions;
}

/// Contour points joined linearly in angle; points need not be equally spaced but ascend.
void fill_from_contour(const std::vector<ContourPoint>& contour, double offset_px, WallLine& line) {
    const std::size_t n = contour.size();
    if (n == 0) return;
    std::size_t next = 0;
    for (int i = 0; i < rays; ++i) {
        while (next < n && contour[next].angle_deg <= i)
            ++next;
        const ContourPoint& after = contour[next % n];
        const ContourPoint& before = contour[(next + n - 1) % n];
        double span = after.angle_deg - before.angle_deg;
        if (span <= 0) span += 360;
        double along = i - before.angle_deg;
        if (along < 0) along += 360;
        const double share = std::clamp(along / span, 0.0, 1.0);
        line.radius_px[static_cast<std::size_t>(i)] =
            before.radius_px + share * (after.radius_px - before.radius_px) + offset_px;
    }
    double u2 = 0;
    for (const ContourPoint& point : contour)
        u2 += point.u_px * point.u_px;
    line.u_ray_px = std::sqrt(u2 / static_cast<double>(n));
}

} // namespace

Point ray_direction(int ray) {
    static const std::array<Point, rays> directions = make_directions();
    return directions[static_cast<std::size_t>(((ray % rays) + rays) % rays)];
}

double angle_deg_of(double dx, double dy) {
    // Abramowitz & Stegun 4.4.49: |error| < 1e-5 rad. Pixels by the thousand ask for it, and any libm gives
    // the same.
    const double ax = std::abs(dx), ay = std::abs(dy);
    const double big = std::max(ax, ay), small = std::min(ax, ay);
    if (big == 0) return 0;
    const double q = small / big, q2 = q * q;
    double a = q * (0.9998660 + q2 * (-0.3302995 + q2 * (0.1801410 + q2 * (-0.0851330 + q2 * 0.0208351))));
    a /= degree;
    if (ay > ax) a = 90 - a;
    if (dx < 0) a = 180 - a;
    if (dy > 0) a = 360 - a; // y down: below the centre is 180 to 360
    return a >= 360 ? a - 360 : a;
}

int ray_of(double dx, double dy) {
    return static_cast<int>(std::lround(angle_deg_of(dx, dy))) % rays;
}

WallLine wall_line(const Hole& hole) {
    WallLine line;
    const bool plated = hole.wall.state == WallState::plated || hole.wall.state == WallState::incomplete;
    const Estimate& diameter = plated && hole.drill_px ? hole.drill_px : hole.bore_px;
    if (!diameter || diameter.value() <= 0) return line;
    line.valid = true;
    line.u_radius_px = diameter.u() / 2;
    line.u_x_px = hole.u_x_px;
    line.u_y_px = hole.u_y_px;
    line.radius_px.fill(diameter.value() / 2);
    if (hole.shape == HoleShape::out_of_round && hole.contour.size() >= 12) {
        const double plating_px = plated && hole.drill_px && hole.bore_px
                                      ? std::max(0.0, hole.drill_px.value() - hole.bore_px.value()) / 2
                                      : 0;
        fill_from_contour(hole.contour, plating_px, line);
        line.round = false;
    }
    for (double r : line.radius_px)
        line.mean_px += r / rays;
    line.largest_px = *std::max_element(line.radius_px.begin(), line.radius_px.end());
    return line;
}

std::array<bool, rays> rays_in(const std::vector<Arc>& arcs) {
    std::array<bool, rays> flags{};
    for (const Arc& arc : arcs) {
        double span = arc.to_deg - arc.from_deg;
        if (span < 0) span += 360;
        for (int i = 0; i < rays; ++i) {
            double along = i - arc.from_deg;
            while (along < 0)
                along += 360;
            if (along <= span) flags[static_cast<std::size_t>(i)] = true;
        }
    }
    return flags;
}

std::vector<Arc> arcs_of(const std::array<bool, rays>& flags) {
    const auto set = [&](int i) { return flags[static_cast<std::size_t>((i + rays) % rays)]; };
    int first_clear = 0;
    while (first_clear < rays && set(first_clear))
        ++first_clear;
    if (first_clear == rays) return {Arc{0, 360}};
    std::vector<Arc> arcs;
    const auto wrapped = [](double a) { return a < 0 ? a + 360 : a >= 360 ? a - 360 : a; };
    for (int k = 1; k <= rays; ++k) {
        const int i = first_clear + k;
        if (!set(i) || set(i - 1)) continue;
        int end = i;
        while (set(end + 1))
            ++end;
        arcs.push_back({wrapped((i % rays) - 0.5), wrapped((end % rays) + 0.5)});
    }
    std::sort(arcs.begin(), arcs.end(), [](const Arc& a, const Arc& b) { return a.from_deg < b.from_deg; });
    return arcs;
}

} // namespace ringwall::rings
