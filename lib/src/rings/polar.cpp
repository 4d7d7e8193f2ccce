// SPDX-License-Identifier: Apache-2.0
#include "rings/polar.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

constexpr double degree = std::numbers::pi / 180;

void sample_rays(const Scene& scene, PolarField& field) {
    const Patch& patch = scene.patch;
    const ImageView<const float> t = scene.map.t.view();
    for (int i = 0; i < rays; ++i) {
        const Point d = ray_direction(i);
        for (int j = 0; j < field.radii; ++j) {
            const double x = patch.centre.x + j * PolarField::pace_px * d.x;
            const double y = patch.centre.y + j * PolarField::pace_px * d.y;
            const int x0 = static_cast<int>(std::floor(x)), y0 = static_cast<int>(std::floor(y));
            if (x0 < 0 || y0 < 0 || x0 + 1 >= patch.width || y0 + 1 >= patch.height) continue;
            const std::size_t p = patch.at(x0, y0), q = p + static_cast<std::size_t>(patch.width);
            const auto ok = [&](std::size_t k) {
                return patch.use[k] == Use::free || patch.use[k] == Use::wall;
            };
            const double fx = x - x0, fy = y - y0;
            const float* a = t.row(patch.y0 + y0) + patch.x0 + x0;
            const float* b = a + t.stride();
            const double top = (1 - fx) * static_cast<double>(a[0]) + fx * static_cast<double>(a[1]);
            const double bottom = (1 - fx) * static_cast<double>(b[0]) + fx * static_cast<double>(b[1]);
            field.t[field.at(i, j)] = static_cast<float>((1 - fy) * top + fy * bottom);
            field.usable[field.at(i, j)] = ok(p) && ok(p + 1) && ok(q) && ok(q + 1) ? 1 : 0;
        }
    }
}

/// Two passes of a box of 2 half + 1 rays at one radius, over usable samples only.
void average_turn(PolarField& field, int j, int half) {
    std::array<double, rays> value{}, weight{};
    for (int i = 0; i < rays; ++i) {
        weight[static_cast<std::size_t>(i)] = field.usable[field.at(i, j)];
        value[static_cast<std::size_t>(i)] =
            weight[static_cast<std::size_t>(i)] * static_cast<double>(field.t[field.at(i, j)]);
    }
    const auto box = [half](std::array<double, rays>& a) {
        std::array<double, rays> out{};
        double sum = 0;
        for (int k = -half; k <= half; ++k)
            sum += a[static_cast<std::size_t>((k + rays) % rays)];
        auto enters = static_cast<std::size_t>(half + 1), leaves = static_cast<std::size_t>(rays - half);
        for (std::size_t i = 0; i < rays; ++i) {
            out[i] = sum;
            sum += a[enters] - a[leaves % rays];
            if (++enters == rays) enters = 0;
            if (++leaves == rays) leaves = 0;
        }
        a = out;
    };
    for (int pass = 0; pass < 2 && half > 0; ++pass) {
        box(value);
        box(weight);
    }
    for (int i = 0; i < rays; ++i) {
        const double w = weight[static_cast<std::size_t>(i)];
        field.smooth[field.at(i, j)] =
            w > 0.5 ? static_cast<float>(value[static_cast<std::size_t>(i)] / w) : -1.0F;
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
    for (int j = 0; j < field.radii; ++j) {
        const double per_ray = std::max(j * PolarField::pace_px, 1.0) * degree;
        average_turn(field, j, std::min(static_cast<int>(std::lround(0.35 * field.turn_px / per_ray)), 60));
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
/// the ring says, weighted by the area it stands for.
double gain_at(const Scene& scene, const PolarField& field, const RingExpectation& ring, int ray, int j,
               bool inward, double foil) {
    const double rho = j * PolarField::pace_px, seen = static_cast<double>(field.t[field.at(ray, j)]);
    const double t = ring_t(ring, ray, rho, scene.levels.blur_px);
    const double other = inward ? std::min(t, foil) : std::max(t, ring.laminate);
    const double sigma = scene.levels.noise.sigma(t);
    const double correlation = std::max(1.0, scene.levels.noise.correlation);
    const double here = (seen - t) * (seen - t), there = (seen - other) * (seen - other);
    return PolarField::pace_px * rho * degree * (here - there) / (2 * sigma * sigma * correlation);
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
    double running = 0;
    int start = 0;
    for (int k = 0; k < static_cast<int>(sum.size()); ++k) {
        if (running <= 0) {
            running = 0;
            start = k;
        }
        running += sum[static_cast<std::size_t>(k)];
        if (running <= out.evidence) continue;
        out.evidence = running;
        out.from_px = (least + start) * PolarField::pace_px;
        out.to_px = (least + k) * PolarField::pace_px;
    }
    return out;
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
            if (run.evidence < enough_evidence || near_narrower) continue;
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
