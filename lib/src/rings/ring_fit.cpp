// SPDX-License-Identifier: Apache-2.0
#include "rings/ring_fit.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

constexpr double feels_edge = 3.5; ///< in blur: beyond, an edge moves T by less than 0.03 % of its step

/// Index of the level a point far from all edges lies on, or -1 near an edge.
int plateau_of(const StepModel& model, const FitPixel& p) {
    const double near = feels_edge * model.blur_px;
    int level = 0;
    for (int e = 0; e < model.edges(); ++e) {
        const auto at = static_cast<std::size_t>(e);
        const double outside =
            e < model.walls ? static_cast<double>(p.wall[at])
                            : model.contours[at - static_cast<std::size_t>(model.walls)].outside(p.x, p.y);
        if (std::abs(outside) < near) return -1;
        if (outside > 0) level = e + 1;
    }
    return model.level_at(level, p.ray);
}

void wall_distances(const Scene& scene, const StepModel& model, double rho, FitPixel& p) {
    const double blur = model.blur_px;
    const double drill = scene.wall.radius_px[static_cast<std::size_t>(p.ray)];
    if (model.walls == 1) {
        p.wall[0] = static_cast<float>(rho - half_height_radius(drill, blur));
    } else if (model.walls == 2) {
        const double plating = scene.hole.bore_px && scene.hole.drill_px
                                   ? (scene.hole.drill_px.value() - scene.hole.bore_px.value()) / 2
                                   : 0;
        p.wall[0] = static_cast<float>(rho - half_height_radius(drill - plating, blur));
        p.wall[1] = static_cast<float>(rho - half_height_radius(drill, blur));
    }
}

bool plateau_fits(const Scene& scene, std::size_t patch_index, int foils) {
    const Use use = scene.patch.use[patch_index];
    if (foils == level_between) return false;
    if (foils < 0) return use == Use::wall;
    return use == Use::free && scene.patch.foils[patch_index] == foils;
}

double level_u_of(const RingLevels& levels, int foils) {
    if (foils < 0) return levels.open_u;
    return foils == 0 ? levels.laminate_u : levels.copper_u;
}

/// Harmonic order 1..most_order that BIC prefers, from one linear step on the rays' scores.
int preferred_order(const StepModel& model, int contour, const std::vector<RayScore>& scores, int pixels,
                    double widen) {
    const Contour& c = model.contours[static_cast<std::size_t>(contour)];
    if (c.sides > 0) return 1;
    constexpr int n = 3 + 2 * (most_order - 1);
    using Matrix = Eigen::Matrix<double, n, n>;
    using Vector = Eigen::Matrix<double, n, 1>;
    Matrix a = Matrix::Identity() * 1e-6;
    Vector b = Vector::Zero();
    Contour full = c;
    full.order = most_order;
    for (int i = 0; i < rays; ++i) {
        const RayScore& score = scores[static_cast<std::size_t>(i)];
        if (score.weight <= 0) continue;
        const Point d = ray_direction(i);
        const double rho = c.along(d);
        Vector f;
        full.slopes(rho * d.x, rho * d.y, f.data());
        a += score.weight / widen * f * f.transpose();
        b += score.push / widen * f;
    }
    int best = 1;
    double best_gain = 0, base = 0;
    for (int order = 1; order <= most_order; ++order) {
        const int m = 3 + 2 * (order - 1);
        const double gain = b.head(m).dot(a.topLeftCorner(m, m).ldlt().solve(b.head(m)));
        if (order == 1) base = gain;
        const double net = gain - base - 2 * (order - 1) * std::log(std::max(pixels, 10));
        if (order > 1 && net > best_gain) {
            best = order;
            best_gain = net;
        }
    }
    return best;
}

/// Flags rays whose window of any width departs from the contour: by 5 sigma and by more than 0.2 px.
RayFlags departing(const std::vector<RayScore>& scores, double widen) {
    RayFlags out{};
    for (const int half : {1, 3, 8}) {
        for (int i = 0; i < rays; ++i) {
            double push = 0, weight = 0;
            for (int k = -half; k <= half; ++k) {
                const RayScore& s = scores[static_cast<std::size_t>((i + k + rays) % rays)];
                push += s.push;
                weight += s.weight;
            }
            if (weight <= 0) continue;
            const double shift = push / weight, z = push / std::sqrt(weight * widen);
            if (std::abs(z) < 5 || std::abs(shift) < 0.2) continue;
            for (int k = -half; k <= half; ++k)
                out[static_cast<std::size_t>((i + k + rays) % rays)] = true;
        }
    }
    return out;
}

int count(const RayFlags& flags) {
    return static_cast<int>(std::count(flags.begin(), flags.end(), true));
}

} // namespace

double level_of(const RingLevels& levels, int foils) {
    if (foils < 0) return levels.open;
    if (foils == 0) return levels.laminate;
    return levels.copper[std::min(static_cast<std::size_t>(foils - 1), levels.copper.size() - 1)];
}

Gathered gather(const Scene& scene, const StepModel& model, const Region& region,
                std::span<const int> foils) {
    Gathered out;
    out.plateaus.resize(static_cast<std::size_t>(model.level_count()));
    visit(scene, region, model.walls > 0,
          [&](std::size_t index, double dx, double dy, double rho, int ray, float t) {
              FitPixel p{static_cast<float>(dx), static_cast<float>(dy), t, {}, ray};
              for (const Contour& contour : model.contours)
                  if (contour.near_corner(dx, dy, feels_edge * model.blur_px)) return;
              wall_distances(scene, model, rho, p);
              const int level = plateau_of(model, p);
              if (level < 0) {
                  out.pixels.push_back(p);
              } else if (plateau_fits(scene, index, foils[static_cast<std::size_t>(level)])) {
                  Gathered::Plateau& plateau = out.plateaus[static_cast<std::size_t>(level)];
                  plateau.sum += static_cast<double>(t);
                  plateau.count += 1;
              }
          });
    return out;
}

StepPrior prior_of(const Scene& scene, const StepModel& model, const Gathered& gathered,
                   std::span<const int> foils) {
    StepPrior prior;
    for (int l = 0; l < model.level_count(); ++l) {
        const auto at = static_cast<std::size_t>(l);
        double value = level_of(scene.levels, foils[at]), u = level_u_of(scene.levels, foils[at]);
        if (model.walls == 2 && l == 1) u = 1; // the barrel is thinner than the blur: its level is free
        const Gathered::Plateau& plateau = gathered.plateaus[at];
        if (plateau.count >= 20) {
            const double mean = plateau.sum / plateau.count;
            const double mean_u = scene.levels.noise.sigma(mean) *
                                  std::sqrt(std::max(1.0, scene.levels.noise.correlation) / plateau.count);
            const double w = 1 / (u * u), wm = 1 / (mean_u * mean_u);
            value = (w * value + wm * mean) / (w + wm);
            u = 1 / std::sqrt(w + wm);
        }
        prior.level.push_back(value);
        prior.level_u.push_back(u);
    }
    for (std::size_t l = 1; l + 1 < prior.level.size(); ++l) {
        if (foils[l] != level_between) continue;
        std::size_t last = l + 1;
        while (last + 1 < prior.level.size() && foils[last] == level_between)
            ++last;
        const double step = (prior.level[last] - prior.level[l - 1]) / static_cast<double>(last - l + 1);
        prior.level[l] = prior.level[l - 1] + step;
        prior.level_u[l] = std::abs(step);
    }
    prior.blur_px = scene.levels.blur_px;
    prior.blur_u_px = scene.levels.blur_u_px;
    prior.wall_shift_u_px = std::max(scene.wall.u_radius_px, 1e-3);
    prior.wall_centre_u_px = std::max({scene.wall.u_x_px, scene.wall.u_y_px, 1e-3});
    if (model.walls == 1) { // copper so near may have misled the hole's own fit; this one knows of it
        constexpr double misled = 2, least_px = 0.03;
        prior.wall_shift_u_px = std::max(misled * prior.wall_shift_u_px, least_px);
        prior.wall_centre_u_px = std::max(misled * prior.wall_centre_u_px, least_px);
    }
    return prior;
}

RingFit fit_ring(const Scene& scene, StepModel model, int contour, Region region, std::vector<int> foils) {
    RingFit fit;
    fit.contour = contour;
    for (int round = 0; round < 3; ++round) {
        if (count(region.use) < 40) return fit;
        const Gathered gathered = gather(scene, model, region, foils);
        const StepPrior prior = prior_of(scene, model, gathered, foils);
        model.level = prior.level;
        fit.steps = fit_steps(model, prior, gathered.pixels, scene.levels.noise);
        if (!fit.steps.ok) return fit;
        const double widen = std::max(1.0, fit.steps.chi2) * std::max(1.0, scene.levels.noise.correlation);
        fit.scores = ray_scores(fit.steps.model, contour, gathered.pixels, scene.levels.noise);
        model = fit.steps.model;
        model.wall_shift_px = model.wall_x_px = model.wall_y_px = 0;
        model.blur_px = scene.levels.blur_px;
        fit.followed = region.use;
        if (round == 2) break;
        Contour& edge = model.contours[static_cast<std::size_t>(contour)];
        const RayFlags away = departing(fit.scores, widen);
        const int order = preferred_order(fit.steps.model, contour, fit.scores, fit.steps.pixels, widen);
        const bool bent = order > edge.order && count(away) == 0;
        if (!bent && count(away) == 0) break;
        if (bent) edge.order = order;
        for (std::size_t i = 0; i < away.size(); ++i)
            if (away[i]) region.use[i] = false;
    }
    fit.cost = (fit.steps.chi2 - 1) * (fit.steps.pixels - fit.steps.model.parameters()) +
               std::log(std::max(fit.steps.pixels, 10)) * fit.steps.model.parameters();
    fit.ok = true;
    return fit;
}

} // namespace ringwall::rings
