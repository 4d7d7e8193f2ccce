// SPDX-License-Identifier: Apache-2.0
#include "holes/rim.hpp"

#include "bridge/opencv.hpp"
#include "core/wide.hpp"
#include "holes/circle_vote.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

namespace ringwall::holes {
namespace {

constexpr double step_px = 0.5;
constexpr std::size_t most_stretches = 3; ///< followed along one ray

using Directions = std::array<Point, rim_rays>; ///< of length 1, y down

const Directions& directions() {
    static const Directions all = [] {
        Directions made;
        for (int k = 0; k < rim_rays; ++k) {
            const double angle = 2 * std::numbers::pi * k / rim_rays;
            made[static_cast<std::size_t>(k)] = {std::cos(angle), -std::sin(angle)};
        }
        return made;
    }();
    return all;
}

Point on_ray(Point from, Point direction, double r) {
    return {from.x + r * direction.x, from.y + r * direction.y};
}

double median(std::vector<double>& values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// The surroundings of a candidate, smoothed as much as its contrast asks for and its size allows.
struct Patch {
    cv::Mat t;
    Point corner;       ///< of the patch's pixel (0,0) in the picture
    double noise = 0;   ///< of the smoothed pixels
    double blur_px = 1; ///< picture's and smoothing's together

    [[nodiscard]] bool contains(Point p) const {
        const double x = p.x - corner.x, y = p.y - corner.y;
        return x >= 0 && y >= 0 && x <= t.cols - 1.001 && y <= t.rows - 1.001;
    }
    [[nodiscard]] double at(Point p) const { // bilinear
        const double x = p.x - corner.x, y = p.y - corner.y;
        const int x0 = static_cast<int>(x), y0 = static_cast<int>(y);
        const double fx = x - x0, fy = y - y0;
        const float* upper = t.ptr<float>(y0) + x0;
        const float* lower = t.ptr<float>(y0 + 1) + x0;
        return (1 - fy) * ((1 - fx) * upper[0] + fx * upper[1]) + fy * ((1 - fx) * lower[0] + fx * lower[1]);
    }
};

Patch cut_patch(ImageView<const float> picture, const RimSearch& search) {
    const int half = static_cast<int>(std::ceil(2.6 * search.radius_guess + 8));
    const int x0 = std::clamp(static_cast<int>(search.guess.x) - half, 0, picture.width() - 1);
    const int y0 = std::clamp(static_cast<int>(search.guess.y) - half, 0, picture.height() - 1);
    const ImageView<const float> window = picture.window(x0, y0, 2 * half + 1, 2 * half + 1);
    Patch patch;
    patch.corner = {static_cast<double>(x0), static_cast<double>(y0)};
    const double wanted = search.contrast / 8;
    const double most = std::min(2.0, search.radius_guess / 3);
    const double sigma = std::clamp(search.noise / (2 * std::sqrt(std::numbers::pi) * wanted), 0.3, most);
    cv::GaussianBlur(bridge::as_mat(window), patch.t, cv::Size(0, 0), sigma, sigma, cv::BORDER_REPLICATE);
    patch.noise = std::min(search.noise, search.noise / (2 * std::sqrt(std::numbers::pi) * sigma));
    patch.blur_px = std::hypot(search.blur_px, sigma);
    return patch;
}

/// Level of the bright part round the centre: mean of what lies within noise of the brightest tenth, so that
/// a part in front of most of the core does not count.
double core_level(const Patch& patch, Point centre, double radius) {
    std::vector<double> values;
    const double reach = 0.6 * radius;
    for (double dy = -reach; dy <= reach; dy += 0.5)
        for (double dx = -reach; dx <= reach; dx += 0.5) {
            const Point p{centre.x + dx, centre.y + dy};
            if (dx * dx + dy * dy <= reach * reach && patch.contains(p)) values.push_back(patch.at(p));
        }
    if (values.empty()) return 0;
    const auto upper = values.begin() + static_cast<std::ptrdiff_t>(values.size() * 9 / 10);
    std::nth_element(values.begin(), upper, values.end());
    const double least = *upper - 3.5 * patch.noise;
    double sum = 0;
    int n = 0;
    for (const double v : values)
        if (v >= least) sum += v, ++n;
    return sum / n;
}

/// A stretch of a ray at the core's level, and how it ends.
struct Stretch {
    double from = 0;
    double to = 0; ///< half-way down the fall, or where the ray ends
    bool fell = false;
    double low = 0;  ///< T at the foot of the fall
    double foot = 0; ///< radius there
};
/// More than one stretch where something thin lies in front. Empty: dark all along.
class Ray {
  public:
    [[nodiscard]] std::size_t size() const { return count_; }
    [[nodiscard]] const Stretch& operator[](std::size_t i) const { return stretches_[i]; }
    [[nodiscard]] const Stretch* begin() const { return stretches_.data(); }
    [[nodiscard]] const Stretch* end() const { return stretches_.data() + count_; }
    void push_back(const Stretch& stretch) { stretches_[count_++] = stretch; }

  private:
    std::array<Stretch, most_stretches> stretches_{};
    std::size_t count_ = 0;
};

/// Bilinear samples at steps along a ray that stays within the patch.
RINGWALL_WIDE void sample_inside(const Patch& patch, Point centre, Point direction, double* out, int count) {
    const float* t = patch.t.ptr<float>();
    const auto stride = static_cast<int>(patch.t.step1());
    for (int k = 0; k < count; ++k) {
        const double r = k * step_px;
        const double x = centre.x + r * direction.x - patch.corner.x,
                     y = centre.y + r * direction.y - patch.corner.y;
        const int x0 = static_cast<int>(x), y0 = static_cast<int>(y), at = y0 * stride + x0;
        const double fx = x - x0, fy = y - y0;
        const double upper = (1 - fx) * static_cast<double>(t[at]) + fx * static_cast<double>(t[at + 1]);
        const double lower =
            (1 - fx) * static_cast<double>(t[at + stride]) + fx * static_cast<double>(t[at + stride + 1]);
        out[k] = (1 - fy) * upper + fy * lower;
    }
}

void sample_ray(const Patch& patch, Point centre, Point direction, double reach, std::vector<double>& t) {
    t.clear();
    const int count = static_cast<int>(reach / step_px) + 1;
    if (patch.contains(centre) && patch.contains(on_ray(centre, direction, (count - 1) * step_px))) {
        t.resize(static_cast<std::size_t>(count));
        sample_inside(patch, centre, direction, t.data(), count);
        return;
    }
    for (int k = 0; k < count; ++k) {
        const Point p = on_ray(centre, direction, k * step_px);
        if (!patch.contains(p)) break;
        t.push_back(patch.at(p));
    }
}

/// The fall that begins at sample i: down to the foot of the slope, located half-way.
Stretch fall_from(const std::vector<double>& t, std::size_t i, double core, const Patch& patch) {
    const auto most_steps = static_cast<std::size_t>(std::ceil((2.5 * patch.blur_px + 1) / step_px));
    std::size_t foot = i;
    for (std::size_t k = i; k < std::min(t.size(), i + most_steps) && t[k] < t[foot] + patch.noise; ++k)
        if (t[k] < t[foot]) foot = k;
    const double half = 0.5 * (core + t[foot]);
    std::size_t k = foot;
    while (k > 0 && t[k - 1] < half)
        --k;
    Stretch fall;
    fall.fell = true;
    fall.low = t[foot];
    fall.foot = static_cast<double>(foot) * step_px;
    const double above = k > 0 ? t[k - 1] : core;
    const double fraction = above > t[k] ? (above - half) / (above - t[k]) : 0.0;
    fall.to = (static_cast<double>(k) - 1 + fraction) * step_px;
    return fall;
}

Ray follow(const std::vector<double>& t, double core, double least_fall, const Patch& patch) {
    Ray ray;
    const double least = core - least_fall;
    std::size_t i = 0;
    while (ray.size() < most_stretches) {
        while (i < t.size() && t[i] < least)
            ++i;
        if (i == t.size()) break;
        const double from = static_cast<double>(i) * step_px;
        while (i < t.size() && t[i] >= least)
            ++i;
        Stretch stretch;
        if (i < t.size())
            stretch = fall_from(t, i, core, patch);
        else
            stretch.to = static_cast<double>(t.size()) * step_px;
        stretch.from = from;
        ray.push_back(stretch);
    }
    return ray;
}

struct Rays {
    std::array<Ray, rim_rays> rays;
    double core = 0;
};

Rays cast_rays(const Patch& patch, Point centre, double radius, const RimSearch& search) {
    Rays cast;
    cast.core = core_level(patch, centre, radius);
    std::vector<double> t;
    for (std::size_t i = 0; i < rim_rays; ++i) {
        sample_ray(patch, centre, directions()[i], 1.9 * radius + 3, t);
        cast.rays[i] = follow(t, cast.core, std::max(search.least_fall, 4 * patch.noise), patch);
    }
    return cast;
}

RimPoints points_of(const Rays& cast, Point centre, std::size_t falls_a_ray) {
    RimPoints points;
    for (std::size_t i = 0; i < rim_rays; ++i) {
        const Ray& ray = cast.rays[i];
        for (std::size_t k = 0; k < std::min(ray.size(), falls_a_ray); ++k) {
            if (!ray[k].fell) continue;
            points.push_back(on_ray(centre, directions()[i], ray[k].to));
        }
    }
    return points;
}

const Stretch* fall_near(const Ray& ray, double expected, double tolerance) {
    for (const Stretch& s : ray)
        if (s.fell && std::abs(s.to - expected) <= tolerance) return &s;
    return nullptr;
}

RayEnd end_of(const Ray& ray, double expected, double tolerance) {
    if (fall_near(ray, expected, tolerance)) return RayEnd::rim;
    for (const Stretch& s : ray)
        if (s.to > expected && s.from < expected + tolerance) return s.fell ? RayEnd::bite : RayEnd::open;
    return RayEnd::hidden;
}

/// Levels outside the rim, by medians over the rays that end on it.
void describe_outside(Rim& rim, const std::vector<Stretch>& falls, const std::vector<double>& beyond,
                      const Patch& patch) {
    std::vector<double> lows, outer = beyond;
    for (const Stretch& fall : falls)
        lows.push_back(fall.low);
    rim.darkest = median(lows);
    rim.contrast = rim.core - rim.darkest;
    rim.beyond = median(outer);
    const double independent = std::max(4.0, 0.35 * static_cast<double>(falls.size()));
    rim.ring_sigmas = (rim.beyond - rim.darkest) / (patch.noise * std::sqrt(2 / independent));
}

Rim describe(const Rays& cast, const Oval& oval, Point origin, const Patch& patch, double tolerance) {
    Rim rim;
    rim.centre = oval.centre;
    rim.radius = oval.radius;
    rim.a2 = oval.a2;
    rim.b2 = oval.b2;
    rim.core = cast.core;
    std::vector<Stretch> falls;
    std::vector<double> beyond;
    double squares = 0;
    for (std::size_t at = 0; at < rim_rays; ++at) {
        const Point direction = directions()[at];
        const double expected = oval.reach_from(origin, direction);
        rim.ends[at] = end_of(cast.rays[at], expected, tolerance);
        const Stretch* fall = fall_near(cast.rays[at], expected, tolerance);
        if (!fall) continue;
        squares += std::pow(fall->to - expected, 2);
        falls.push_back(*fall);
        const double out = fall->foot + 1.5 * patch.blur_px + 1.5;
        const Point p = on_ray(origin, direction, out);
        if (patch.contains(p)) beyond.push_back(patch.at(p));
    }
    rim.scatter_px = std::sqrt(squares / std::max(1, rim.count(RayEnd::rim)));
    describe_outside(rim, falls, beyond, patch);
    return rim;
}

/// The rim seen from `centre` with so many falls of each ray in the vote.
std::optional<Rim> vote_rim(const Rays& rays, Point centre, const Patch& patch, const RimSearch& search,
                            double tolerance, std::size_t falls_a_ray) {
    const std::optional<Oval> oval = vote_circle(points_of(rays, centre, falls_a_ray), tolerance);
    if (!oval || oval->radius < 0.35 * search.radius_guess || oval->radius > 2 * search.radius_guess)
        return {};
    Rim rim = describe(rays, *oval, centre, patch, tolerance);
    if (rim.share(RayEnd::rim) < 0.25) return {};
    return rim;
}

double worth(const std::optional<Rim>& rim) {
    return rim ? rim->share(RayEnd::rim) - rim->share(RayEnd::bite) - rim->share(RayEnd::open) : -2;
}

/// First falls alone make a rim that nothing lies in front of; with later ones in the vote, rims further out
/// (of a ring that is bright as well) compete.
std::optional<Rim> best_rim(const Rays& rays, Point centre, const Patch& patch, const RimSearch& search,
                            double tolerance) {
    std::optional<Rim> first = vote_rim(rays, centre, patch, search, tolerance, 1);
    if (first && first->share(RayEnd::rim) >= 0.7) return first;
    std::optional<Rim> all = vote_rim(rays, centre, patch, search, tolerance, most_stretches);
    return worth(all) > worth(first) ? all : first;
}

} // namespace

std::optional<Rim> fit_rim(ImageView<const float> picture, const RimSearch& search) {
    const Patch patch = cut_patch(picture, search);
    Point centre = search.guess;
    double radius = search.radius_guess;
    std::optional<Rim> rim;
    for (int round = 0; round < 4; ++round) {
        const Rays rays = cast_rays(patch, centre, radius, search);
        const double edge_noise = 2.5 * patch.blur_px * patch.noise / std::max(search.contrast, 1e-3);
        const double tolerance = std::clamp(2.5 * edge_noise, 0.55, 1.2) + 0.03 * radius;
        rim = best_rim(rays, centre, patch, search, tolerance);
        if (!rim) return {};
        const double moved = std::hypot(rim->centre.x - centre.x, rim->centre.y - centre.y);
        centre = rim->centre;
        radius = rim->radius;
        if (moved < 0.15 && round > 0) break;
    }
    return rim;
}

} // namespace ringwall::holes
