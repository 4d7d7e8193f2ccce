// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/levels.hpp"
#include "rings/patch.hpp"
#include "rings/scan.hpp"
#include "rings/step_fit.hpp"
#include "rings/wall_line.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <vector>

namespace ringwall::rings {

using RayFlags = std::array<bool, rays>;

/// Everything a fit round one hole looks at.
struct Scene {
    const TransmissionMap& map;
    const RingLevels& levels;
    const Hole& hole;
    const WallLine& wall;
    const Patch& patch; ///< bin 1
    bool plated = false;
};

/// Which pixels a contour is fitted on: per ray a span of radii, px from the hole's centre.
struct Region {
    RayFlags use{};
    std::array<double, rays> inner_px{}, outer_px{};
};

/// In place of a number of foils: a level somewhere between its neighbours', of planes that end so close to
/// one another that no plateau tells it.
inline constexpr int level_between = -2;

/// Calls `take(patch index, dx, dy, rho, ray, t)` for the usable pixels of a region; the wall zone only with
/// `with_wall`.
template<typename Take>
void visit(const Scene& scene, const Region& region, bool with_wall, Take&& take) {
    double reach = 0, least = 1e9;
    for (std::size_t i = 0; i < rays; ++i) {
        if (!region.use[i]) continue;
        reach = std::max(reach, region.outer_px[i]);
        least = std::min(least, region.inner_px[i]);
    }
    const Patch& patch = scene.patch;
    const int top = std::max(0, static_cast<int>(std::floor(patch.centre.y - reach)));
    const int bottom = std::min(patch.height - 1, static_cast<int>(std::ceil(patch.centre.y + reach)));
    const double least2 = least > 0 ? least * least : 0, reach2 = reach * reach;
    for (int y = top; y <= bottom; ++y) {
        const float* row = scene.map.t.view().row(patch.y0 + y) + patch.x0;
        const double dy = y - patch.centre.y;
        const double half = std::sqrt(std::max(0.0, reach2 - dy * dy));
        const int left = std::max(0, static_cast<int>(std::floor(patch.centre.x - half)));
        const int right = std::min(patch.width - 1, static_cast<int>(std::ceil(patch.centre.x + half)));
        for (int x = left; x <= right; ++x) {
            const double dx = x - patch.centre.x, rho2 = dx * dx + dy * dy;
            if (rho2 < least2 || rho2 > reach2) continue;
            const std::size_t index = patch.at(x, y);
            const Use use = patch.use[index];
            if (use != Use::free && !(with_wall && use == Use::wall)) continue;
            const int ray = ray_of(dx, dy);
            const double rho = std::sqrt(rho2);
            const auto at = static_cast<std::size_t>(ray);
            if (region.use[at] && rho >= region.inner_px[at] && rho <= region.outer_px[at])
                take(index, dx, dy, rho, ray, row[x]);
        }
    }
}

/// T of a class by the picture's levels: -1 air, 0 laminate, k foils (the last known for more).
double level_of(const RingLevels& levels, int foils);

/// Pixels that feel an edge, one by one, and the plateaus between the edges as means.
struct Gathered {
    std::vector<FitPixel> pixels;
    struct Plateau {
        double sum = 0;
        double count = 0;
    };
    std::vector<Plateau> plateaus; ///< one a level of the model
};
/// `foils[l]`: what the smoothed patch must say of a plateau pixel of model.level[l] (-1: air of the hole).
Gathered gather(const Scene& scene, const StepModel& model, const Region& region, std::span<const int> foils);

/// Prior of a fit: the levels of the picture, outvoted by the plateaus seen here.
StepPrior prior_of(const Scene& scene, const StepModel& model, const Gathered& gathered,
                   std::span<const int> foils);

/// One closed copper edge fitted to pixels.
struct RingFit {
    bool ok = false;
    StepFit steps;
    int contour = 0; ///< which contour of the model is the ring's edge; further ones are of further planes
    double cost = 0; ///< chi-square above its expectation plus log(pixels) a parameter
    RayFlags followed{}; ///< rays on which the edge is this contour
    std::vector<RayScore> scores;
};

/// Fits `model`, raises the order of its contour `contour` while BIC asks for it, and leaves out rays that
/// depart from it.
RingFit fit_ring(const Scene& scene, StepModel model, int contour, Region region, std::vector<int> foils);

} // namespace ringwall::rings
