// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/random.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <vector>

/// Pictures of one hole drawn from geometry: levels in T, 8 x 8 samples a pixel, intensities mixed and
/// blurred on the fine grid, then integrated over the pixel. Independent of the library's own phantom.
namespace drawn {

struct Beam {
    double open = 1, laminate = 0.93, foil = 0.95; ///< T of air, of laminate, factor of one foil
    double barrel = 0.15;                          ///< T of plating seen end-on
    [[nodiscard]] double level(int foils) const { return laminate * std::pow(foil, foils); }
};

/// What lies at a point: air, plating end-on, or laminate with foils.
inline constexpr int air = -1, plating = -2;
using Board = std::function<int(double x, double y)>;

inline constexpr int fine = 8;

inline ringwall::Image<float> draw(const Board& board, const Beam& beam, int size, double blur_px) {
    const int n = size * fine;
    std::vector<float> a(static_cast<std::size_t>(n) * static_cast<std::size_t>(n)), b(a.size());
    for (int y = 0; y < n; ++y)
        for (int x = 0; x < n; ++x) {
            const int what = board((x + 0.5) / fine - 0.5, (y + 0.5) / fine - 0.5);
            a[static_cast<std::size_t>(y * n + x)] = static_cast<float>(what == air       ? beam.open
                                                                        : what == plating ? beam.barrel
                                                                                          : beam.level(what));
        }
    const double sigma = blur_px * fine;
    const int reach = static_cast<int>(std::ceil(5 * sigma));
    std::vector<float> w;
    double sum = 0;
    for (int k = -reach; k <= reach; ++k)
        sum += std::exp(-0.5 * k * k / (sigma * sigma));
    for (int k = -reach; k <= reach; ++k)
        w.push_back(static_cast<float>(std::exp(-0.5 * k * k / (sigma * sigma)) / sum));
    const auto pass = [&](const std::vector<float>& in, std::vector<float>& out, int dx, int dy) {
        std::fill(out.begin(), out.end(), 0.0F);
        for (int y = 0; y < n; ++y)
            for (int k = -reach; k <= reach; ++k) {
                const float weight = w[static_cast<std::size_t>(k + reach)];
                if (dy) {
                    const float* from = in.data() + static_cast<std::size_t>(std::clamp(y + k, 0, n - 1)) *
                                                        static_cast<std::size_t>(n);
                    float* to = out.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(n);
                    for (int x = 0; x < n; ++x)
                        to[x] += weight * from[x];
                } else {
                    const float* from = in.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(n);
                    float* to = out.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(n);
                    for (int x = 0; x < n; ++x)
                        to[x] += weight * from[std::clamp(x + k * dx, 0, n - 1)];
                }
            }
    };
    pass(a, b, 1, 0);
    pass(b, a, 0, 1);
    ringwall::Image<float> out(size, size);
    for (int y = 0; y < size; ++y)
        for (int x = 0; x < size; ++x) {
            double mean = 0;
            for (int j = 0; j < fine; ++j)
                for (int i = 0; i < fine; ++i)
                    mean +=
                        static_cast<double>(a[static_cast<std::size_t>((y * fine + j) * n + x * fine + i)]);
            out(x, y) = static_cast<float>(mean / (fine * fine));
        }
    return out;
}

/// Adds noise of variance T / photons (normal: at a thousand photons and more a Poisson count differs by
/// little).
inline ringwall::TransmissionMap exposed(const ringwall::Image<float>& clean, double blur_px, double photons,
                                         std::uint64_t seed) {
    ringwall::TransmissionMap map;
    map.t = clean.clone();
    map.t_is_physical = true;
    map.noise.photons = photons;
    map.blur_sigma_px = ringwall::Estimate::of(std::sqrt(blur_px * blur_px + 1.0 / 12), 0.01);
    ringwall::rings::Random random(seed);
    for (int y = 0; y < clean.height(); ++y)
        for (int x = 0; x < clean.width(); ++x)
            map.t(x, y) += static_cast<float>(random.normal() * std::sqrt(clean(x, y) / photons));
    return map;
}

inline ringwall::MaterialMap known_levels(const Beam& beam, int foils) {
    ringwall::MaterialMap materials;
    materials.levels.open = ringwall::Estimate::of(beam.open, 1e-4);
    materials.levels.laminate = ringwall::Estimate::of(beam.level(0), 1e-4);
    for (int k = 1; k <= foils; ++k)
        materials.levels.copper.push_back(ringwall::Estimate::of(beam.level(k), 1e-4));
    materials.levels.foils_resolved = true;
    return materials;
}

inline ringwall::Hole bare_hole(ringwall::Point centre, double radius_px, double u_px = 0.01) {
    ringwall::Hole hole;
    hole.seed.centre_px = hole.centre_px = centre;
    hole.seed.radius_px = radius_px;
    hole.u_x_px = hole.u_y_px = u_px;
    hole.bore_px = hole.drill_px = ringwall::Estimate::of(2 * radius_px, 2 * u_px);
    hole.wall.state = ringwall::WallState::bare;
    hole.shape = ringwall::HoleShape::round;
    return hole;
}

inline ringwall::Hole plated_hole(ringwall::Point centre, double drill_radius_px, double wall_px,
                                  double u_px = 0.01) {
    ringwall::Hole hole = bare_hole(centre, drill_radius_px - wall_px, u_px);
    hole.drill_px = ringwall::Estimate::of(2 * drill_radius_px, 2 * u_px);
    hole.wall.state = ringwall::WallState::plated;
    return hole;
}

} // namespace drawn
