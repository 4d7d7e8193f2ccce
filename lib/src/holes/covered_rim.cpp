// SPDX-License-Identifier: Apache-2.0
#include "holes/covered_rim.hpp"

#include "bridge/opencv.hpp"
#include "holes/circle_vote.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

namespace ringwall::holes {
namespace {

constexpr int rays = 96;
constexpr double step_px = 0.5;
constexpr double darkest = 0.02; // the log of less is noise

double angle_of(int ray) {
    return 2 * std::numbers::pi * ray / rays;
}

/// ln T round a place, smoothed, on one level of the pyramid.
struct LogPatch {
    cv::Mat log;
    Point corner;
    double noise = 0; ///< of ln T at the open beam, smoothed
    double blur_px = 1;
    [[nodiscard]] std::optional<double> at(Point p) const {
        const double x = p.x - corner.x, y = p.y - corner.y;
        if (x < 0 || y < 0 || x > log.cols - 1.001 || y > log.rows - 1.001) return {};
        const int x0 = static_cast<int>(x), y0 = static_cast<int>(y);
        const double fx = x - x0, fy = y - y0;
        const float* upper = log.ptr<float>(y0) + x0;
        const float* lower = log.ptr<float>(y0 + 1) + x0;
        return (1 - fy) * ((1 - fx) * upper[0] + fx * upper[1]) + fy * ((1 - fx) * lower[0] + fx * lower[1]);
    }
};

LogPatch cut_log(const Pyramid& pyramid, const GreyScale& grey, int level, Point centre, double reach) {
    const int half = static_cast<int>(std::ceil(reach + 4));
    const ImageView<const float> picture = pyramid.level(level);
    const int x0 = std::clamp(static_cast<int>(centre.x) - half, 0, picture.width() - 1);
    const int y0 = std::clamp(static_cast<int>(centre.y) - half, 0, picture.height() - 1);
    LogPatch patch;
    patch.corner = {static_cast<double>(x0), static_cast<double>(y0)};
    const double noise = grey.noise / Pyramid::pixel(level), wanted = 0.2 * grey.tolerance;
    const double sigma = std::clamp(noise / (2 * std::sqrt(std::numbers::pi) * wanted), 0.4, 1.5);
    cv::GaussianBlur(bridge::as_mat(picture.window(x0, y0, 2 * half + 1, 2 * half + 1)), patch.log,
                     cv::Size(0, 0), sigma, sigma, cv::BORDER_REPLICATE);
    patch.log = cv::max(patch.log, darkest);
    cv::log(patch.log, patch.log);
    patch.noise = std::min(noise, noise / (2 * std::sqrt(std::numbers::pi) * sigma)) / grey.open;
    patch.blur_px = std::hypot(grey.blur_px / Pyramid::pixel(level), 0.3, sigma);
    return patch;
}

/// A fall of ln T along a ray.
struct Fall {
    double r = 0;
    double depth = 0;
    double inside = 0; ///< ln T before it
};

/// Local maxima of the fall over the blur's width, deeper than `least` and than the noise of where they lie.
std::vector<Fall> falls_along(const LogPatch& patch, Point centre, int ray, double from, double to,
                              double least) {
    const double c = std::cos(angle_of(ray)), s = std::sin(angle_of(ray));
    const double half = 1.3 * patch.blur_px;
    const auto log_at = [&](double r) { return patch.at({centre.x + r * c, centre.y - r * s}); };
    std::vector<Fall> falls;
    Fall before, here;
    for (double r = from; r <= to; r += step_px) {
        const auto inner = log_at(r - half), outer = log_at(r + half);
        if (!inner || !outer) break;
        const Fall next{r, *inner - *outer, *inner};
        const double noise = patch.noise * std::exp(-0.5 * (here.inside - std::max(here.depth, 0.0)));
        if (here.r > 0 && here.depth >= before.depth && here.depth > next.depth &&
            here.depth > std::max(least, 5 * noise)) {
            const double bend = before.depth - 2 * here.depth + next.depth;
            here.r += bend < 0 ? 0.5 * step_px * (before.depth - next.depth) / bend : 0;
            falls.push_back(here);
        }
        before = here;
        here = next;
    }
    return falls;
}

using Falls = std::array<std::vector<Fall>, rays>;

RimPoints points_of(const Falls& falls, Point centre) {
    RimPoints points;
    for (int i = 0; i < rays; ++i)
        for (const Fall& fall : falls[static_cast<std::size_t>(i)])
            points.push_back(
                {centre.x + fall.r * std::cos(angle_of(i)), centre.y - fall.r * std::sin(angle_of(i))});
    return points;
}

double median(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

CoveredRim judge_circle(const Falls& falls, const Oval& oval, Point origin, double tolerance,
                        double air_log) {
    CoveredRim rim;
    rim.centre_px = oval.centre;
    rim.radius_px = oval.radius;
    double squares = 0;
    int on = 0, air = 0;
    std::vector<double> depths;
    for (int i = 0; i < rays; ++i) {
        const double expected = oval.reach_from(origin, angle_of(i));
        for (const Fall& fall : falls[static_cast<std::size_t>(i)]) {
            if (std::abs(fall.r - expected) > tolerance) continue;
            squares += (fall.r - expected) * (fall.r - expected);
            ++on;
            air += fall.inside > air_log;
            depths.push_back(fall.depth);
            break;
        }
    }
    rim.on_rim = static_cast<double>(on) / rays;
    rim.in_air = static_cast<double>(air) / rays;
    rim.scatter_px = std::sqrt(squares / std::max(1, on));
    rim.fall = median(depths);
    return rim;
}

/// Circle through the ends and the middle of a stretch of border, where the stretch lies on it.
std::optional<Disk> arc_through(const std::vector<Point>& border, std::size_t first, std::size_t length,
                                double tolerance) {
    const auto at = [&](std::size_t i) { return border[(first + i) % border.size()]; };
    const Point a = at(0), b = at(length / 2), c = at(length - 1);
    const double bx = b.x - a.x, by = b.y - a.y, cx = c.x - a.x, cy = c.y - a.y, d = 2 * (bx * cy - by * cx);
    if (std::abs(d) < 1e-6) return {};
    const double b2 = bx * bx + by * by, c2 = cx * cx + cy * cy;
    const double ux = (cy * b2 - by * c2) / d, uy = (bx * c2 - cx * b2) / d;
    const Disk disk{{a.x + ux, a.y + uy}, std::hypot(ux, uy)};
    double squares = 0;
    for (std::size_t i = 0; i < length; ++i)
        squares +=
            std::pow(std::hypot(at(i).x - disk.centre_px.x, at(i).y - disk.centre_px.y) - disk.radius_px, 2);
    if (squares > tolerance * tolerance * static_cast<double>(length)) return {};
    return disk;
}

bool alike(const Disk& a, const Disk& b) {
    const double apart = std::hypot(a.centre_px.x - b.centre_px.x, a.centre_px.y - b.centre_px.y);
    return apart < 0.1 * a.radius_px + 1 && std::abs(a.radius_px - b.radius_px) < 0.1 * a.radius_px + 1;
}

/// Circles that the region's border may be part of: the one on which most of it lies, and those of its bent
/// stretches.
std::vector<Disk> arcs_of(const Region& region) {
    std::vector<Disk> arcs;
    const std::size_t n = region.border_px.size(), stride = n / 200 + 1;
    RimPoints points;
    for (std::size_t i = 0; i < n; i += stride)
        points.push_back(region.border_px[i]);
    if (const auto oval = vote_circle(points, 0.7 * region.resolution_px + 0.3))
        arcs.push_back({oval->centre, oval->radius});
    const double widest = 3 * std::sqrt(region.area_px2) + 20;
    for (const std::size_t parts : {3U, 6U}) {
        const std::size_t length = n / parts;
        if (length < 10) break;
        for (std::size_t i = 0; i < 3 * parts; ++i) {
            const auto arc =
                arc_through(region.border_px, i * length / 3, length, 0.6 * region.resolution_px);
            if (!arc || arc->radius_px > widest) continue;
            if (std::none_of(arcs.begin(), arcs.end(), [&](const Disk& a) { return alike(a, *arc); }))
                arcs.push_back(*arc);
        }
    }
    return arcs;
}

int level_for(const Pyramid& pyramid, double radius_px) {
    int k = 0;
    while (k + 1 < pyramid.levels() && radius_px / Pyramid::pixel(k) > 34)
        ++k;
    return k;
}

std::optional<CoveredRim> voted(const LogPatch& patch, const GreyScale& grey, Point centre, double radius) {
    const double least = -0.7 * std::log(1 - 2 * grey.tolerance / grey.open);
    const double air_log = std::log(grey.open - grey.tolerance), tolerance = 0.6 + 0.02 * radius;
    std::optional<CoveredRim> rim;
    for (int round = 0; round < 3; ++round) {
        Falls falls;
        for (int i = 0; i < rays; ++i)
            falls[static_cast<std::size_t>(i)] =
                falls_along(patch, centre, i, 0.7 * radius, 1.3 * radius + 2, least);
        const auto oval = vote_circle(points_of(falls, centre), tolerance);
        if (!oval || oval->radius < 0.75 * radius || oval->radius > 1.3 * radius) return {};
        if (std::hypot(oval->centre.x - centre.x, oval->centre.y - centre.y) > 0.4 * radius) return {};
        rim = judge_circle(falls, *oval, centre, tolerance, air_log);
        centre = oval->centre;
        radius = oval->radius;
    }
    return rim;
}

std::optional<CoveredRim> rim_from(const Pyramid& pyramid, const GreyScale& grey, const Disk& arc) {
    const int level = level_for(pyramid, arc.radius_px);
    const double pixel = Pyramid::pixel(level);
    const Point centre = Pyramid::to_level(arc.centre_px, level);
    const double radius = arc.radius_px / pixel;
    if (centre.x < 0 || centre.y < 0 || centre.x >= pyramid.level(level).width() ||
        centre.y >= pyramid.level(level).height())
        return {};
    const LogPatch patch = cut_log(pyramid, grey, level, centre, 1.8 * radius + 4);
    auto rim = voted(patch, grey, centre, radius);
    if (!rim || rim->scatter_px > 0.3 + 0.01 * rim->radius_px) return {};
    rim->centre_px = Pyramid::to_picture(rim->centre_px, level);
    rim->radius_px *= pixel;
    rim->scatter_px *= pixel;
    return rim;
}

/// Half-way down from the brightest place along the ray, which must exceed `least`, to what lies beyond the
/// ring it stands in; nothing when the ray does not fall below `least` again.
std::optional<double> end_of_bright_ring(const LogPatch& patch, Point centre, int ray, double from, double to,
                                         double least) {
    const double c = std::cos(angle_of(ray)), s = std::sin(angle_of(ray));
    std::vector<double> log;
    for (double r = from; r <= to; r += step_px) {
        const auto value = patch.at({centre.x + r * c, centre.y - r * s});
        if (!value) break;
        log.push_back(*value);
    }
    if (log.size() < 6) return {};
    const auto top = std::max_element(log.begin(), log.end());
    // In a wide ring noise puts the brightest place anywhere: the fall is looked for where the ring ends.
    const auto ends = std::find_if(top, log.end(), [&](double v) { return v < least; });
    if (*top < least || ends == log.end()) return {};
    const auto width = static_cast<std::ptrdiff_t>(3 * patch.blur_px / step_px);
    const auto low = std::min_element(ends, log.end() - ends > width ? ends + width : log.end());
    const double half = 0.5 * (*top + *low);
    const auto fall = std::find_if(top, low, [&](double v) { return v < half; });
    return from + static_cast<double>(fall - log.begin()) * step_px;
}

} // namespace

std::optional<CoveredRim> covered_rim(const Pyramid& pyramid, const GreyScale& grey, const Region& region) {
    std::optional<CoveredRim> best;
    for (const Disk& arc : arcs_of(region)) {
        if (arc.radius_px < 4 * grey.blur_px + 3 * region.resolution_px) continue;
        const auto rim = rim_from(pyramid, grey, arc);
        if (!rim || rim->on_rim < 0.7 || rim->in_air < 1.0 / 14) continue;
        if (!best || rim->on_rim > best->on_rim) best = rim;
    }
    return best;
}

std::optional<Disk> rim_round_pin(const Pyramid& pyramid, const GreyScale& grey, const Disk& pin) {
    const int level = level_for(pyramid, pin.radius_px);
    const double pixel = Pyramid::pixel(level), radius = pin.radius_px / pixel;
    if (radius < 4) return {};
    const Point centre = Pyramid::to_level(pin.centre_px, level);
    const double reach = 1.4 * radius + 2;
    const LogPatch patch = cut_log(pyramid, grey, level, centre, reach + 3);
    const double least = std::log(grey.board) + 0.3 * std::log(grey.open / grey.board);
    RimPoints rim;
    for (int i = 0; i < rays; ++i)
        if (const auto r = end_of_bright_ring(patch, centre, i, radius, reach, least))
            rim.push_back({centre.x + *r * std::cos(angle_of(i)), centre.y - *r * std::sin(angle_of(i))});
    if (rim.size() < static_cast<std::size_t>(0.7 * rays)) return {};
    const double tolerance = 0.6 + 0.02 * radius;
    const auto oval = vote_circle(rim, tolerance);
    if (!oval || oval->radius < radius) return {};
    const auto on = std::count_if(rim.begin(), rim.end(),
                                  [&](Point p) { return std::abs(oval->outside(p)) <= tolerance; });
    if (static_cast<double>(on) < 0.7 * rays) return {};
    return Disk{Pyramid::to_picture(oval->centre, level), oval->radius * pixel};
}

} // namespace ringwall::holes
