// SPDX-License-Identifier: Apache-2.0
#include "rings/polar.hpp"

#include "core/wide.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

constexpr double degree = std::numbers::pi / 180;

/// [patch pixel]: whether it and those right, below and between may be used. The last row and column are not.
std::vector<std::uint8_t> fours_usable(const Patch& patch) {
    std::vector<std::uint8_t> own(patch.use.size()), four(patch.use.size(), 0);
    for (std::size_t i = 0; i < own.size(); ++i)
        own[i] = patch.use[i] == Use::free || patch.use[i] == Use::wall;
    const auto width = static_cast<std::size_t>(patch.width);
    for (std::size_t i = 0; i + width + 1 < own.size(); ++i)
        four[i] = own[i] & own[i + 1] & own[i + width] & own[i + width + 1];
    return four;
}

/// Where samples lie along one ray, in a patch.
struct RaySamples {
    const float* t = nullptr; ///< the patch's pixel (0, 0) in the picture
    std::ptrdiff_t stride = 0;
    Point centre, direction;
    [[nodiscard]] Point place(int j) const {
        return {centre.x + j * PolarField::pace_px * direction.x,
                centre.y + j * PolarField::pace_px * direction.y};
    }
};

/// Bilinear samples first ... last - 1, which all lie within.
RINGWALL_WIDE void sample(const RaySamples& ray, int first, int last, float* out) {
    const auto stride = static_cast<int>(ray.stride);
    for (int j = first; j < last; ++j) {
        const Point p = ray.place(j);
        const int x0 = static_cast<int>(p.x), y0 = static_cast<int>(p.y), at = y0 * stride + x0;
        const double fx = p.x - x0, fy = p.y - y0;
        const double top =
            (1 - fx) * static_cast<double>(ray.t[at]) + fx * static_cast<double>(ray.t[at + 1]);
        const double bottom = (1 - fx) * static_cast<double>(ray.t[at + stride]) +
                              fx * static_cast<double>(ray.t[at + stride + 1]);
        out[j] = static_cast<float>((1 - fy) * top + fy * bottom);
    }
}

void sample_rays(const Scene& scene, PolarField& field) {
    const Patch& patch = scene.patch;
    const ImageView<const float> t = scene.map.t.view();
    const auto usable = fours_usable(patch);
    const auto inside = [&](Point p) {
        return p.x >= 0 && p.y >= 0 && p.x < patch.width - 1 && p.y < patch.height - 1;
    };
    RaySamples ray{t.row(patch.y0) + patch.x0, t.stride(), patch.centre, {}};
    for (int i = 0; i < rays; ++i) {
        ray.direction = ray_direction(i);
        int first = 0, last = field.radii; // those inside follow one another
        while (first < last && !inside(ray.place(first)))
            ++first;
        while (first < last && !inside(ray.place(last - 1)))
            --last;
        sample(ray, first, last, field.t.data() + field.at(i, 0));
        for (int j = first; j < last; ++j) {
            const Point p = ray.place(j);
            field.usable[field.at(i, j)] = usable[patch.at(static_cast<int>(p.x), static_cast<int>(p.y))];
        }
    }
}

/// Some radii next to one another, all rays.
constexpr int tile_radii = 8;
using Tile = std::array<std::array<double, tile_radii>, rays>;

/// Running mean of 2 half + 1 rays, without its division.
RINGWALL_WIDE void box(Tile& a, int half) {
    Tile out;
    std::array<double, tile_radii> sum{};
    for (int k = -half; k <= half; ++k)
        for (std::size_t c = 0; c < tile_radii; ++c)
            sum[c] += a[static_cast<std::size_t>((k + rays) % rays)][c];
    auto enters = static_cast<std::size_t>(half + 1), leaves = static_cast<std::size_t>(rays - half) % rays;
    for (std::size_t i = 0; i < rays; ++i) {
        for (std::size_t c = 0; c < tile_radii; ++c) {
            out[i][c] = sum[c];
            sum[c] += a[enters][c] - a[leaves][c];
        }
        if (++enters == rays) enters = 0;
        if (++leaves == rays) leaves = 0;
    }
    a = out;
}

/// Two passes of a box of 2 half + 1 rays at radii first ... first + count - 1, over usable samples only.
void average_turn(PolarField& field, int first, int count, int half) {
    Tile value{}, weight{};
    const auto n = static_cast<std::size_t>(count);
    for (int i = 0; i < rays; ++i) {
        const std::size_t from = field.at(i, first), ray = static_cast<std::size_t>(i);
        for (std::size_t c = 0; c < n; ++c) {
            weight[ray][c] = field.usable[from + c];
            value[ray][c] = weight[ray][c] * static_cast<double>(field.t[from + c]);
        }
    }
    for (int pass = 0; pass < 2 && half > 0; ++pass) {
        box(value, half);
        box(weight, half);
    }
    for (int i = 0; i < rays; ++i) {
        const std::size_t from = field.at(i, first), ray = static_cast<std::size_t>(i);
        for (std::size_t c = 0; c < n; ++c)
            field.smooth[from + c] =
                weight[ray][c] > 0.5 ? static_cast<float>(value[ray][c] / weight[ray][c]) : -1.0F;
    }
}

} // namespace

PolarField polar_field(const Scene& scene, double reach_px) {
    PolarField field;
    field.radii = static_cast<int>(reach_px / PolarField::pace_px) + 1;
    const std::size_t count = static_cast<std::size_t>(rays) * static_cast<std::size_t>(field.radii);
    field.t.assign(count, 0);
    field.smooth.assign(count, -1);
    field.usable.assign(count, 0);
    sample_rays(scene, field);
    // As wide along the turn as brings the least darkening that counts as copper to 4.5 sigma, a bilinear
    // sample being about 0.8 px wide across.
    const RingLevels& levels = scene.levels;
    const double sigma =
        levels.noise.sigma(levels.laminate) * std::sqrt(std::max(1.0, levels.noise.correlation));
    const double least = levels.laminate - levels.copper_below;
    const double area = 20 * sigma * sigma / (least * least); // px needed in the mean
    field.turn_px = std::min(area / 1.5, 150.0);              // full width
    const auto half_at = [&](int j) {
        const double per_ray = std::max(j * PolarField::pace_px, 1.0) * degree;
        return std::min(static_cast<int>(std::lround(0.35 * field.turn_px / per_ray)), 60);
    };
    for (int j = 0, together = 0; j < field.radii; j += together) {
        const int half = half_at(j);
        for (together = 1;
             together < tile_radii && j + together < field.radii && half_at(j + together) == half;)
            ++together;
        average_turn(field, j, together, half);
    }
    return field;
}

namespace {

double middle_level(const RingLevels& levels, int foils) {
    return 0.5 * (level_of(levels, foils - 1) + level_of(levels, foils));
}

/// Where the averaged T passes the level `middle` just before sample j.
double crossing(const PolarField& field, int ray, int j, double middle) {
    const double before = static_cast<double>(field.smooth[field.at(ray, std::max(j - 1, 0))]);
    const double here = static_cast<double>(field.smooth[field.at(ray, j)]);
    const double share = before > middle && before > here ? (before - middle) / (before - here) : 1;
    return (j - 1 + std::clamp(share, 0.0, 1.0)) * PolarField::pace_px;
}

RingSight sight_along(const Scene& scene, const PolarField& field, int ray, int first_j, int ground) {
    RingSight sight;
    sight.least_foils = 99;
    const RingLevels& levels = scene.levels;
    const double fade = 24 + 2.5 * levels.blur_px; // further planes this far behind the last are left alone
    bool own = scene.plated;
    int met = 0; // foils above the ground so far
    double last = 0;
    for (int j = first_j; j < field.radii; ++j) {
        const double t = static_cast<double>(field.smooth[field.at(ray, j)]);
        if (t < 0 || (met > 0 && j * PolarField::pace_px > last + fade)) break;
        const int k = std::max(0, levels.foils(t) - ground);
        sight.least_foils = std::min(sight.least_foils, k + ground);
        if (own && k > 0) {
            sight.own_end = (j + 0.5) * PolarField::pace_px;
            continue;
        }
        own = false;
        if (met > 0 && k < met && j * PolarField::pace_px > last + 2.5 * levels.blur_px) break;
        for (; met < std::min(k, most_planes); ++met) {
            if (met == 0) sight.at_wall = !scene.plated && j == first_j;
            last = crossing(field, ray, j, middle_level(levels, ground + met + 1));
            sight.plane[static_cast<std::size_t>(met)] = last;
        }
    }
    return sight;
}

} // namespace

std::array<RingSight, rays> ring_sights(const Scene& scene, const PolarField& field, double wall_zone_px,
                                        int ground) {
    std::array<RingSight, rays> sights{};
    for (int i = 0; i < rays; ++i) {
        const double start = scene.wall.radius_px[static_cast<std::size_t>(i)] + wall_zone_px;
        const int first_j = static_cast<int>(std::ceil(start / PolarField::pace_px));
        sights[static_cast<std::size_t>(i)] = sight_along(scene, field, i, first_j, ground);
    }
    return sights;
}

namespace {

/// Log likelihood that each sample gains from the other material, weighted by the area it stands for.
struct GainField {
    int least = 0, count = 0; ///< radii held
    std::vector<float> gain;  ///< [ray * count + (j - least)]
    [[nodiscard]] const float* row(int ray) const {
        return gain.data() + static_cast<std::size_t>((ray + rays) % rays) * static_cast<std::size_t>(count);
    }
};

/// Log likelihood that one sample gains from being copper of T `foil` (inward) or laminate instead of what
/// the ring says, weighted by the pixels it stands for.
double gain_at(const Scene& scene, const PolarField& field, const RingExpectation& ring, int ray, int j,
               bool inward, double foil) {
    const double rho = j * PolarField::pace_px, seen = static_cast<double>(field.t[field.at(ray, j)]);
    const double t = ring_t(ring, ray, rho, scene.levels.blur_px);
    const double other = inward ? std::min(t, foil) : std::max(t, ring.laminate);
    const double sigma = scene.levels.noise.sigma(t);
    const double correlation = std::max(1.0, scene.levels.noise.correlation);
    const double here = (seen - t) * (seen - t), there = (seen - other) * (seen - other);
    return PolarField::pace_px * pixels_across(rho * degree) * (here - there) /
           (2 * sigma * sigma * correlation);
}

GainField gains(const Scene& scene, const PolarField& field, const RingExpectation& ring, bool inward,
                const std::array<double, rays>& inner_px, const std::array<double, rays>& outer_px) {
    const double pace = PolarField::pace_px;
    std::array<int, rays> from{}, to{};
    GainField out;
    out.least = field.radii;
    int most = 0;
    for (std::size_t i = 0; i < rays; ++i) {
        from[i] = std::max(0, static_cast<int>(std::ceil(inner_px[i] / pace)));
        to[i] = std::min(field.radii - 1, static_cast<int>(std::floor(outer_px[i] / pace)));
        if (to[i] < from[i]) continue;
        out.least = std::min(out.least, from[i]);
        most = std::max(most, to[i]);
    }
    out.count = std::max(0, most - out.least + 1);
    out.gain.assign(static_cast<std::size_t>(rays) * static_cast<std::size_t>(out.count), 0);
    for (int i = 0; i < rays; ++i) {
        const auto at = static_cast<std::size_t>(i);
        for (int j = from[at]; j <= to[at]; ++j) {
            if (!field.usable[field.at(i, j)]) continue;
            out.gain[at * static_cast<std::size_t>(out.count) + static_cast<std::size_t>(j - out.least)] =
                static_cast<float>(gain_at(scene, field, ring, i, j, inward, ring.least_foil));
        }
    }
    return out;
}

/// The run of radii with the greatest sum (Kadane's scan; Bentley 1984).
Departure best_run(const std::vector<double>& sum, int least) {
    Departure out;
    double running = 0, total = 0, before = 0;
    int start = 0;
    for (int k = 0; k < static_cast<int>(sum.size()); ++k) {
        if (running <= 0) {
            running = 0;
            start = k;
        }
        running += sum[static_cast<std::size_t>(k)];
        total += sum[static_cast<std::size_t>(k)];
        if (running <= out.evidence) continue;
        out.evidence = running;
        before = total - running;
        out.from_px = (least + start) * PolarField::pace_px;
        out.to_px = (least + k) * PolarField::pace_px;
    }
    out.to_inner = before;
    out.to_outer = total - before - out.evidence;
    return out;
}

/// What is left of a run's evidence when the places are counted at which noise might have made it. Copper
/// that reaches the ring's rim can do so at as many places as the rim has px, and enough_evidence is meant
/// for these; an island can begin and end anywhere between, which takes twice the logarithm of the ring's
/// width. A run short of the rim reaches it for the evidence lost on the way.
double weighed(const Departure& run, double width_px) {
    return run.evidence + std::max({-2 * std::log(std::max(width_px, 1.0)), run.to_inner, run.to_outer});
}

std::array<Departure, rays> best_runs(const GainField& field, int half) {
    std::array<Departure, rays> out{};
    std::vector<double> sum(static_cast<std::size_t>(field.count), 0.0);
    const auto add = [&](int ray, double sign) {
        const float* row = field.row(ray + rays);
        for (std::size_t k = 0; k < sum.size(); ++k)
            sum[k] += sign * static_cast<double>(row[k]);
    };
    for (int k = -half; k <= half; ++k)
        add(k, 1);
    for (int i = 0; i < rays; ++i) {
        out[static_cast<std::size_t>(i)] = best_run(sum, field.least);
        add(i - half, -1);
        add(i + half + 1, 1);
    }
    return out;
}

/// A wedge wider than the thing it found reaches beyond it: the ray's own pixels must agree.
bool own_pixels_agree(const GainField& field, int ray, int half, const Departure& found) {
    double sum = 0;
    const int from = static_cast<int>(found.from_px / PolarField::pace_px) - field.least;
    const int to = static_cast<int>(found.to_px / PolarField::pace_px) - field.least;
    for (int k = -half; k <= half; ++k)
        for (int j = from; j <= to; ++j)
            sum += static_cast<double>(field.row(ray + k + rays)[j]);
    return sum > 0;
}

/// Where copper found by the least darkening begins, told by the darkening it has: the weak alternative takes
/// in samples before it that noise alone darkens.
void sharpen(const Scene& scene, const PolarField& field, const RingExpectation& ring, int ray, int half,
             Departure& found) {
    const int from = static_cast<int>(found.from_px / PolarField::pace_px);
    const int to = static_cast<int>(found.to_px / PolarField::pace_px);
    double darkening = 0, weight = 0;
    std::vector<double> sum(static_cast<std::size_t>(to - from + 1), 0.0);
    const auto each = [&](auto&& take) {
        for (int k = -half; k <= half; ++k)
            for (int j = from; j <= to; ++j)
                if (const int at = (ray + k + rays) % rays; field.usable[field.at(at, j)]) take(at, j);
    };
    each([&](int at, int j) {
        const double t = ring_t(ring, at, j * PolarField::pace_px, scene.levels.blur_px);
        if (t < 0.5 * (ring.laminate + ring.least_foil)) return; // the ring's own copper
        darkening += j * (t - static_cast<double>(field.t[field.at(at, j)]));
        weight += j;
    });
    if (weight <= 0) return;
    const double foil = std::min(ring.least_foil, ring.laminate - darkening / weight);
    each([&](int at, int j) {
        sum[static_cast<std::size_t>(j - from)] += gain_at(scene, field, ring, at, j, true, foil);
    });
    const Departure again = best_run(sum, from);
    if (again.evidence <= 0) return;
    found.from_px = again.from_px;
    found.to_px = again.to_px;
}

} // namespace

double copper_gain(const Scene& scene, const PolarField& field, const RingExpectation& ring, int ray,
                   int half, double from_px, double to_px) {
    const int from = std::max(0, static_cast<int>(std::ceil(from_px / PolarField::pace_px)));
    const int to = std::min(field.radii - 1, static_cast<int>(std::floor(to_px / PolarField::pace_px)));
    double sum = 0;
    for (int k = -half; k <= half; ++k)
        for (int j = from; j <= to; ++j)
            if (const int at = (ray + k + rays) % rays; field.usable[field.at(at, j)])
                sum += gain_at(scene, field, ring, at, j, true, ring.least_foil);
    return sum;
}

double pixels_across(double px_a_ray) {
    if (px_a_ray <= 1) return px_a_ray;
    const double overlap = std::max(0.0, 2 - px_a_ray);
    return 1 / (2.0 / 3 + overlap * overlap * overlap / 3);
}

double ring_t(const RingExpectation& ring, int ray, double rho, double blur_px) {
    const auto at = static_cast<std::size_t>((ray + rays) % rays);
    double t = ring.laminate;
    for (std::size_t k = 0; k < ring.planes.size(); ++k)
        t += ring.steps[k][at] * blurred_edge((rho - ring.planes[k][at]) / blur_px).cdf;
    if (ring.land_px[at] > 0)
        t += (ring.land - ring.laminate) * (1 - blurred_edge((rho - ring.land_px[at]) / blur_px).cdf);
    return t;
}

std::array<Departure, rays> departures(const Scene& scene, const PolarField& field,
                                       const RingExpectation& ring, bool inward,
                                       const std::array<double, rays>& inner_px,
                                       const std::array<double, rays>& outer_px) {
    std::array<Departure, rays> out{};
    const GainField gain = gains(scene, field, ring, inward, inner_px, outer_px);
    if (gain.count == 0) return out;
    double mean_edge = 0;
    for (double edge : ring.edge_px)
        mean_edge += edge / rays;
    const double per_ray = std::max(mean_edge, 1.0) * degree;
    std::array<bool, rays> taken{};
    for (const double width_px : {1.2, 3.0, 6.0}) {
        const int half = std::clamp(static_cast<int>(std::lround(width_px / per_ray)), 1, 40);
        const std::array<Departure, rays> runs = best_runs(gain, half);
        std::array<bool, rays> now = taken;
        for (int i = 0; i < rays; ++i) {
            const Departure& run = runs[static_cast<std::size_t>(i)];
            bool near_narrower = false;
            for (int k = -half; k <= half && !near_narrower; ++k)
                near_narrower = taken[static_cast<std::size_t>((i + k + rays) % rays)];
            const auto at = static_cast<std::size_t>(i);
            if (near_narrower || weighed(run, outer_px[at] - inner_px[at]) < enough_evidence) continue;
            if (!own_pixels_agree(gain, i, std::max(1, half / 3), run)) continue;
            out[static_cast<std::size_t>(i)] = run;
            out[static_cast<std::size_t>(i)].found = true;
            if (inward) sharpen(scene, field, ring, i, half, out[static_cast<std::size_t>(i)]);
            now[static_cast<std::size_t>(i)] = true;
        }
        taken = now;
    }
    return out;
}

} // namespace ringwall::rings
