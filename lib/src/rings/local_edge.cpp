// SPDX-License-Identifier: Apache-2.0
#include "rings/local_edge.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace ringwall::rings {
namespace {

struct WedgePixel {
    float rho, t;
};

/// Pixels by ray, so that a wedge is a run of rays.
struct ByRay {
    std::vector<WedgePixel> pixels;
    std::array<std::size_t, rays + 1> first{};
};

ByRay collect(const Scene& scene, const RayFlags& wanted, const std::array<double, rays>& start_px,
              bool with_wall) {
    const double reach = 4 * scene.levels.blur_px + 1;
    Region region;
    for (int i = 0; i < rays; ++i)
        for (int k = -12; k <= 12; ++k) { // neighbours lend their pixels to a wedge
            const auto at = static_cast<std::size_t>((i + k + rays) % rays),
                       from = static_cast<std::size_t>(i);
            if (!wanted[from]) continue;
            const double inner = start_px[from] - reach, outer = start_px[from] + reach;
            region.inner_px[at] = region.use[at] ? std::min(region.inner_px[at], inner) : inner;
            region.outer_px[at] = region.use[at] ? std::max(region.outer_px[at], outer) : outer;
            region.use[at] = true;
        }
    struct Item {
        int ray;
        WedgePixel pixel;
    };
    std::vector<Item> items;
    visit(scene, region, with_wall, [&](std::size_t, double, double, double rho, int ray, float t) {
        items.push_back({ray, {static_cast<float>(rho), t}});
    });
    std::stable_sort(items.begin(), items.end(), [](const Item& a, const Item& b) { return a.ray < b.ray; });
    ByRay out;
    std::size_t next = 0;
    for (std::size_t r = 0; r < rays; ++r) {
        out.first[r] = next;
        while (next < items.size() && items[next].ray == static_cast<int>(r))
            out.pixels.push_back(items[next++].pixel);
    }
    out.first[rays] = next;
    return out;
}

struct Wedge {
    const Scene& scene;
    const ByRay& pixels;
    double inner, outer;
    double wall50; ///< half-height radius of the wall; negative: not part of the model

    /// Score and weight of an edge at rho50 over rays ray - half .. ray + half.
    [[nodiscard]] RayScore score(int ray, int half, double rho50) const {
        RayScore out;
        const double blur = scene.levels.blur_px, reach = 4 * blur;
        for (int k = -half; k <= half; ++k) {
            const auto r = static_cast<std::size_t>((ray + k + rays) % rays);
            for (std::size_t i = pixels.first[r]; i < pixels.first[r + 1]; ++i) {
                const WedgePixel& p = pixels.pixels[i];
                const double rho = static_cast<double>(p.rho);
                if (std::abs(rho - rho50) > reach) continue;
                const EdgeValue edge = blurred_edge((rho - rho50) / blur);
                double t = inner + (outer - inner) * edge.cdf;
                if (wall50 > 0)
                    t += (scene.levels.open - inner) * (1 - blurred_edge((rho - wall50) / blur).cdf);
                const double slope = (inner - outer) * edge.pdf / blur;
                const double sigma = scene.levels.noise.sigma(t);
                out.push += slope * (static_cast<double>(p.t) - t) / (sigma * sigma);
                out.weight += slope * slope / (sigma * sigma);
            }
        }
        return out;
    }
};

LocalEdge fit_one(const Wedge& wedge, int ray, double start_px) {
    LocalEdge out;
    const double degree = std::numbers::pi / 180;
    const double blur = wedge.scene.levels.blur_px;
    const double correlation = std::max(1.0, wedge.scene.levels.noise.correlation);
    const double per_ray_px = std::max(start_px, 1.0) * degree;
    const int least = std::clamp(static_cast<int>(std::ceil(0.7 / per_ray_px)), 0, 12);
    const double widest_px = std::max(1.5 * blur, wedge.scene.patch.smoothing_px);
    int half = least;
    for (;; ++half) {
        const RayScore s = wedge.score(ray, half, start_px);
        const double u = s.weight > 0 ? std::sqrt(correlation / s.weight) : 1e9;
        if (u < 0.2 || half >= 12 || half * per_ray_px > widest_px) break;
    }
    double rho = start_px;
    double weight = 0;
    if (wedge.wall50 > 0 && start_px < wedge.wall50 + 3 * blur) {
        // Copper ends at the wall at the latest, so the model is exact only from there outward: a gap that
        // one step from the wall finds negative, or small against the blur, is taken as that step gives it.
        const RayScore s = wedge.score(ray, half, wedge.wall50);
        if (s.weight <= 0) return out;
        const double gap = s.push / s.weight;
        if (gap < 0.3 * blur) return {true, wedge.wall50 + gap, std::sqrt(correlation / s.weight), half};
    }
    for (int i = 0; i < 6; ++i) {
        const RayScore s = wedge.score(ray, half, rho);
        if (s.weight <= 0) return out;
        const double step = std::clamp(s.push / s.weight, -blur, blur);
        rho = std::max(rho + step, wedge.wall50);
        weight = s.weight;
        if (std::abs(step) < 0.003) break;
    }
    out.ok = std::abs(rho - start_px) < 3 * blur + wedge.scene.patch.smoothing_px;
    out.rho_px = rho;
    out.u_px = std::sqrt(correlation / weight);
    out.window = half;
    return out;
}

} // namespace

std::array<double, rays> agreed_levels(const RayFlags& wanted, const std::array<double, rays>& start_px,
                                       const std::array<double, rays>& behind, double blur_px) {
    constexpr int beside = 4;
    std::array<double, rays> out = behind;
    for (int i = 0; i < rays; ++i) {
        const auto at = static_cast<std::size_t>(i);
        if (!wanted[at]) continue;
        std::vector<double> near;
        for (int k = -beside; k <= beside; ++k) {
            const auto other = static_cast<std::size_t>((i + k + rays) % rays);
            const double apart = std::abs(start_px[other] - start_px[at]);
            if (wanted[other] && apart < 2 * blur_px + std::abs(k)) near.push_back(behind[other]);
        }
        if (near.size() % 2 == 0) continue; // no one in the middle
        const auto middle = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
        std::nth_element(near.begin(), middle, near.end());
        out[at] = *middle;
    }
    return out;
}

std::array<LocalEdge, rays> local_edges(const Scene& scene, const RayFlags& wanted, const RayFlags& from_wall,
                                        const std::array<double, rays>& start_px,
                                        const std::array<double, rays>& inner,
                                        const std::array<double, rays>& outer) {
    std::array<LocalEdge, rays> out{};
    if (std::none_of(wanted.begin(), wanted.end(), [](bool w) { return w; })) return out;
    const bool any_wall = std::any_of(from_wall.begin(), from_wall.end(), [](bool w) { return w; });
    const ByRay pixels = collect(scene, wanted, start_px, any_wall);
    for (int i = 0; i < rays; ++i) {
        const auto at = static_cast<std::size_t>(i);
        if (!wanted[at]) continue;
        const double wall50 =
            from_wall[at] ? half_height_radius(scene.wall.radius_px[at], scene.levels.blur_px) : -1;
        out[at] = fit_one({scene, pixels, inner[at], outer[at], wall50}, i, start_px[at]);
    }
    return out;
}

} // namespace ringwall::rings
