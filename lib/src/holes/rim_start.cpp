// SPDX-License-Identifier: Apache-2.0
#include "holes/rim_start.hpp"

#include "core/circle_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>
#include <span>
#include <tuple>
#include <utility>

namespace ringwall {

namespace {

constexpr double step_px = 0.5;
constexpr double faint_steps = 4;    // half of the step, in noise of a pixel
constexpr double sure_of_fall = 8.0; // log likelihood; noise inside a core makes it once in 3000 stretches
constexpr double degree = std::numbers::pi / 180.0;

double bilinear_inside(ImageView<const float> t, double x, double y) {
    const int x0 = static_cast<int>(x), y0 = static_cast<int>(y);
    const double fx = x - x0, fy = y - y0;
    const float* upper = t.row(y0) + x0;
    const float* lower = upper + t.stride();
    return (1 - fy) * ((1 - fx) * upper[0] + fx * upper[1]) + fy * ((1 - fx) * lower[0] + fx * lower[1]);
}
double bilinear(ImageView<const float> t, double x, double y) {
    return bilinear_inside(t, std::clamp(x, 0.0, t.width() - 1.001), std::clamp(y, 0.0, t.height() - 1.001));
}

double median(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Pixels within a radius, in rising order.
std::vector<double> core_values(ImageView<const float> t, Point centre, double radius) {
    std::vector<double> values;
    const int r = std::max(1, static_cast<int>(radius));
    const int stride = std::max(1, r / 12);
    for (int dy = -r; dy <= r; dy += stride)
        for (int dx = -r; dx <= r; dx += stride) {
            const int x = static_cast<int>(std::lround(centre.x)) + dx,
                      y = static_cast<int>(std::lround(centre.y)) + dy;
            if (dx * dx + dy * dy <= r * r && t.contains(x, y)) values.push_back(t(x, y));
        }
    std::sort(values.begin(), values.end());
    return values;
}

struct Core {
    double level = 0;
    bool uneven = false; ///< something covers some of it
};

/// Level of the air inside a hole of `radius`: the middle's median, or the open beam's where a part covers
/// some of the core and the brightest tenth of all of it is air. `noise`: of a pixel.
Core core_level(ImageView<const float> t, Point centre, double radius, double open_level, double noise) {
    const std::vector<double> inner = core_values(t, centre, 0.5 * radius);
    if (inner.empty()) return {};
    const double middle = inner[inner.size() / 2];
    if (radius < 8 && middle > 0.85 * open_level) return {middle};
    const std::vector<double> all = core_values(t, centre, 0.85 * radius);
    const double tenth = all[all.size() * 9 / 10];
    const bool uneven = tenth - all[all.size() / 10] > 1.6 * 2.56 * noise + 0.01; // 2.56 sigma apart by noise
    if (middle > open_level - 2 * noise || (middle > 0.85 * open_level && !uneven)) return {middle, uneven};
    return {tenth > 0.9 * open_level && tenth < 1.1 * open_level ? open_level : middle, uneven};
}

/// Noise of a pixel inside, from differences of neighbours in a row (their median size is 0.954 sigma).
double core_noise(ImageView<const float> t, Point centre, double radius) {
    std::vector<double> steps;
    const int r = std::max(2, static_cast<int>(std::min(radius, 20.0)));
    const int cx = static_cast<int>(std::lround(centre.x)), cy = static_cast<int>(std::lround(centre.y));
    for (int dy = -r; dy <= r; ++dy)
        for (int dx = -r; dx < r; ++dx)
            if (t.contains(cx + dx, cy + dy) && t.contains(cx + dx + 1, cy + dy))
                steps.push_back(std::abs(t(cx + dx + 1, cy + dy) - t(cx + dx, cy + dy)));
    return median(std::move(steps)) / 0.954;
}

/// Directions spread over the arc of a ray: parts 1 to 7 of them, those of one number side by side.
class ArcDirections {
  public:
    static constexpr int most = 7;
    ArcDirections(double angle_deg, double arc_deg) {
        for (int parts = 1; parts <= most; ++parts)
            for (int i = 0; i < parts; ++i) {
                const double a = (angle_deg + arc_deg * ((i + 0.5) / parts - 0.5)) * degree;
                all_[first(parts) + static_cast<std::size_t>(i)] = {std::cos(a), std::sin(a)};
            }
    }
    [[nodiscard]] std::span<const Point> of(int parts) const {
        return {&all_[first(parts)], static_cast<std::size_t>(parts)};
    }

  private:
    static constexpr std::size_t first(int parts) {
        return static_cast<std::size_t>(parts * (parts - 1) / 2);
    }
    std::array<Point, most*(most + 1) / 2> all_;
};

/// Profile along one direction, each sample a mean over the arc that belongs to the ray; from `start_px` on,
/// nothing further in being asked for.
class ArcProfile {
  public:
    ArcProfile(ImageView<const float> t, Point centre, double angle_deg, double arc_deg, double start_px,
               double end_px)
        : t_(t), values_(static_cast<std::size_t>(end_px / step_px) + 1) {
        const ArcDirections directions(angle_deg, arc_deg);
        inside_ = centre.x >= end_px && centre.y >= end_px && centre.x + end_px < t.width() - 1.001 &&
                  centre.y + end_px < t.height() - 1.001;
        for (auto i = static_cast<std::size_t>(std::max(0.0, start_px / step_px)); i < values_.size(); ++i)
            values_[i] = mean_over_arc(centre, directions, arc_deg, static_cast<double>(i) * step_px);
    }
    [[nodiscard]] double mean(double from_px, double to_px) const {
        double sum = 0;
        int count = 0;
        for (double r = from_px; r <= to_px + 1e-9; r += step_px, ++count)
            sum += at(r);
        return count > 0 ? sum / count : at(from_px);
    }
    /// Place of the least smoothed value, and the value.
    [[nodiscard]] std::pair<double, double> least(double from_px, double to_px) const {
        std::pair<double, double> best{from_px, 1e9};
        for (double r = from_px; r <= to_px; r += step_px)
            if (const double value = smoothed(r); value < best.second) best = {r, value};
        return best;
    }
    /// First radius from `from_px` on where a mean over `half` samples either way falls below `level`; what
    /// lies below it at first (a part in front of the middle) must have risen above it before `risen_px`.
    [[nodiscard]] std::optional<double> falls_below(double level, double from_px, double risen_px,
                                                    int half) const {
        const auto around = [&](double r) { return mean(r - half * step_px, r + half * step_px); };
        double before = around(from_px);
        while (before < level && from_px < risen_px)
            before = around(from_px += step_px);
        if (before < level) return std::nullopt;
        const double end = static_cast<double>(values_.size() - 1) * step_px;
        for (double r = from_px + step_px; r <= end; r += step_px) {
            const double now = around(r);
            if (now < level) return r - step_px * (level - now) / std::max(before - now, 1e-9);
            before = now;
        }
        return std::nullopt;
    }
    /// The most likely place of the first fall through `level` in noise, from `from_px` on: what lies inside
    /// of it stands above the level by most, summed, and what follows takes `enough` of that sum away.
    [[nodiscard]] std::optional<double> most_likely_fall(double level, double from_px, double enough) const {
        double sum = 0, most = 0, place = from_px;
        const double end = static_cast<double>(values_.size() - 1) * step_px;
        for (double r = from_px; r <= end; r += step_px) {
            sum += at(r) - level;
            if (sum > most) most = sum, place = r + 0.5 * step_px;
            if (place > from_px && most - sum > enough) return place;
        }
        return std::nullopt;
    }

  private:
    [[nodiscard]] double at(double r) const {
        const auto i = static_cast<std::ptrdiff_t>(std::lround(r / step_px));
        return values_[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(i, 0, std::ssize(values_) - 1))];
    }
    [[nodiscard]] double smoothed(double r) const {
        return 0.25 * at(r - step_px) + 0.5 * at(r) + 0.25 * at(r + step_px);
    }
    [[nodiscard]] double mean_over_arc(Point centre, const ArcDirections& directions, double arc_deg,
                                       double r) const {
        const int parts = std::clamp(static_cast<int>(r * arc_deg * degree), 1, ArcDirections::most);
        double sum = 0;
        if (inside_) {
            for (const Point d : directions.of(parts))
                sum += bilinear_inside(t_, centre.x + r * d.x, centre.y - r * d.y);
        } else {
            for (const Point d : directions.of(parts))
                sum += bilinear(t_, centre.x + r * d.x, centre.y - r * d.y);
        }
        return sum / parts;
    }

    ImageView<const float> t_;
    std::vector<double> values_;
    bool inside_ = false; ///< all samples lie within the picture
};

/// What most directions show behind the edge; where something covers some of the hole, what two thirds show
/// no brighter: a part's body only darkens.
double board_level(std::vector<double>& outside, bool uneven) {
    const std::size_t at = uneven ? 2 * outside.size() / 3 : outside.size() / 2;
    std::nth_element(outside.begin(), outside.begin() + static_cast<std::ptrdiff_t>(at), outside.end());
    return outside[at];
}

/// Crossings of the half level, between the air and `behind` or else what most rays show, on every ray from
/// `centre`.
std::vector<RimRay> cast_rays(ImageView<const float> t, Point centre, double radius, const Core& core,
                              double sigma, const std::optional<double>& behind, double noise) {
    const int count = std::clamp(static_cast<int>(std::numbers::pi * radius), 24, 72);
    const double arc = 360.0 / count, end = 1.4 * radius + 12 + 5 * sigma;
    const double sought_from = 0.3 * radius, start = sought_from - 4; // the widest mean reaches 2 px inward
    std::vector<ArcProfile> profiles;
    std::vector<double> outside;
    for (int i = 0; i < count; ++i) {
        profiles.emplace_back(t, centre, i * arc, arc, start, end);
        outside.push_back(profiles.back().mean(radius + 2.2 * sigma, radius + 3.5 * sigma));
    }
    const double level = 0.5 * (core.level + (behind ? *behind : board_level(outside, core.uneven)));
    // Where noise reaches half way down, the first fall is the noise's.
    const bool faint = radius > 6 && core.level - level < faint_steps * noise;
    // A sample stands for half a pixel of the ray and all of its arc.
    const double half_step = std::max(core.level - level, 1e-6),
                 sample_px2 = step_px * std::max(1.0, radius * arc * degree),
                 enough = sure_of_fall * noise * noise / (2 * half_step * sample_px2);
    std::vector<RimRay> rays(static_cast<std::size_t>(count));
    for (int i = 0; i < count; ++i) {
        RimRay& ray = rays[static_cast<std::size_t>(i)];
        const ArcProfile& profile = profiles[static_cast<std::size_t>(i)];
        ray.angle_deg = i * arc;
        if (const auto edge = faint ? profile.most_likely_fall(level, sought_from, enough)
                                    : profile.falls_below(level, sought_from, 0.85 * radius, 1)) {
            ray.found = true;
            ray.radius_px = *edge;
            std::tie(ray.deepest_px, ray.deepest) = profile.least(*edge, *edge + 3 * sigma);
            ray.plateau = profile.mean(ray.deepest_px + 2.4 * sigma, ray.deepest_px + 3.6 * sigma);
        }
    }
    return rays;
}

/// Through the edges that lie near the circle known so far, where they are a third of the turn or more: a
/// part's outline over the hole, or a bite, is no edge of it. Else through all.
CircleFit circle_through(const std::vector<RimRay>& rays, Point centre, double radius) {
    const double near_px = std::max(3.0, 0.08 * radius);
    std::vector<Point> all, near;
    for (const RimRay& ray : rays) {
        if (!ray.found) continue;
        all.push_back({centre.x + ray.radius_px * std::cos(ray.angle_deg * degree),
                       centre.y - ray.radius_px * std::sin(ray.angle_deg * degree)});
        if (std::abs(ray.radius_px - radius) < near_px) near.push_back(all.back());
    }
    const std::vector<Point>& points = 3 * near.size() >= rays.size() ? near : all;
    return points.size() < 6 ? CircleFit{} : fit_circle_robust(points);
}

} // namespace

RimStart look_at_rim(ImageView<const float> t, const HoleCandidate& candidate, double sigma_px,
                     double open_level, std::optional<double> behind) {
    RimStart start;
    start.centre_px = candidate.centre_px;
    start.radius_px = candidate.radius_px;
    const double noise = core_noise(t, candidate.centre_px, 0.4 * candidate.radius_px);
    Core core;
    for (int round = 0; round < 3; ++round) {
        core = core_level(t, start.centre_px, start.radius_px, open_level, noise);
        if (start.radius_px < 3 * sigma_px)
            core.level = std::max(core.level, open_level - 0.02); // blur eats a small core
        start.open = core.level;
        start.rays = cast_rays(t, start.centre_px, start.radius_px, core, sigma_px, behind, noise);
        const CircleFit circle = circle_through(start.rays, start.centre_px, start.radius_px);
        if (!circle.ok || std::hypot(circle.centre.x - candidate.centre_px.x,
                                     circle.centre.y - candidate.centre_px.y) > 0.6 * candidate.radius_px + 2)
            return start;
        if (circle.radius < 0.5 * candidate.radius_px && candidate.radius_px > 6 * sigma_px)
            break; // noise, no rim
        const double moved =
            std::hypot(circle.centre.x - start.centre_px.x, circle.centre.y - start.centre_px.y) +
            std::abs(circle.radius - start.radius_px);
        start.centre_px = circle.centre;
        start.radius_px = std::max(circle.radius, 1.5);
        if (moved < 0.3 && round > 0) break;
    }
    start.rays = cast_rays(t, start.centre_px, start.radius_px, core, sigma_px, behind, noise);
    const auto seen =
        std::count_if(start.rays.begin(), start.rays.end(), [](const RimRay& r) { return r.found; });
    start.usable = 4 * seen >= std::ssize(start.rays);
    return start;
}

} // namespace ringwall
