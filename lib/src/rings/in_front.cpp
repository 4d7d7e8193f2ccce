// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

constexpr int beside = 2; ///< rays on either side that share a mean

struct Air {
    double sum = 0;
    int count = 0;
};

/// Pixels of the outer half of the bore along a ray, clear of the wall's blur.
Air air_along(const Job& job, int ray, double plating_px) {
    Air air;
    const double end = job.wall.radius_px[idx(ray)] - plating_px - 3 * job.levels.blur_px;
    const Point d = ray_direction(ray);
    for (double rho = 0.5 * end; rho < end; rho += 1) {
        const int x = static_cast<int>(std::lround(job.hole.centre_px.x + rho * d.x));
        const int y = static_cast<int>(std::lround(job.hole.centre_px.y + rho * d.y));
        if (!job.map.t.contains(x, y)) continue;
        air.sum += static_cast<double>(job.map.t(x, y));
        ++air.count;
    }
    return air;
}

/// Where copper was told on a ray apart from the ring's contour; 0: it was not.
double edge_of_its_own(const Job& job, int ray) {
    const std::size_t at = idx(ray);
    if (job.answer[at] == Answer::local) return job.local[at].rho_px;
    if (job.answer[at] != Answer::feature) return 0;
    const Feature& feature = job.features[static_cast<std::size_t>(job.feature_of[at])];
    return feature.along(ray_direction(ray), job.wall.radius_px[at], job.searched_px);
}

/// A bore that lies under the body and yet is as bright as air: the body is none.
bool contradicted(const Job& job, const Body& body) {
    const auto bright = [&](const Hole& hole) {
        const double radius = 0.5 * hole.bore_px.value_or(0) - 3 * job.levels.blur_px;
        if (radius < 1 || !body.covers(hole.centre_px, -radius)) return false;
        double sum = 0;
        int count = 0;
        for (int dy = -2; dy <= 2; ++dy)
            for (int dx = -2; dx <= 2; ++dx) {
                const int x = static_cast<int>(std::lround(hole.centre_px.x)) + dx;
                const int y = static_cast<int>(std::lround(hole.centre_px.y)) + dy;
                if (!job.map.t.contains(x, y)) continue;
                sum += static_cast<double>(job.map.t(x, y));
                ++count;
            }
        return count > 0 && sum / count > job.levels.open * std::exp(-0.5 * body.step);
    };
    return bright(job.hole) || std::any_of(job.neighbours.begin(), job.neighbours.end(), bright);
}

} // namespace

RayFlags parts_over_bore(const Job& job) {
    RayFlags out{};
    if (!job.options.parts_in_front) return out;
    const double plating = job.plated && job.hole.bore_px && job.hole.drill_px
                               ? std::max(0.0, job.hole.drill_px.value() - job.hole.bore_px.value()) / 2
                               : 0;
    std::array<Air, rays> air{};
    std::vector<double> means;
    for (int i = 0; i < rays; ++i) {
        air[idx(i)] = air_along(job, i, plating);
        if (air[idx(i)].count >= 4) means.push_back(air[idx(i)].sum / air[idx(i)].count);
    }
    if (means.size() < rays / 2) return out; // too small to tell
    const auto bright = means.begin() + static_cast<std::ptrdiff_t>(3 * means.size() / 4);
    std::nth_element(means.begin(), bright, means.end());
    const double open = std::min(*bright, job.levels.open);
    const double sigma =
        job.levels.noise.sigma(open) * std::sqrt(std::max(1.0, job.levels.noise.correlation));
    for (int i = 0; i < rays; ++i) {
        Air sum;
        for (int k = -beside; k <= beside; ++k) {
            sum.sum += air[idx(i + k)].sum;
            sum.count += air[idx(i + k)].count;
        }
        if (sum.count < 4) continue;
        // Rays lie closer than pixels near the centre: a pixel counts some two times in the mean.
        const double u = sigma * std::sqrt(2.0 / sum.count);
        out[idx(i)] = sum.sum / sum.count < open - std::max(5 * u, 0.5 * job.levels.fine_step);
    }
    return out;
}

std::vector<Body> bodies_among_answers(const Job& job) {
    constexpr int every = 5, most = 24;
    std::vector<Body> found;
    if (!job.options.parts_in_front || !job.map.t_is_physical || job.hole.kind != HoleKind::hole)
        return found;
    int tried = 0;
    for (int i = 0; i < rays && tried < most; i += every) {
        const double rho = edge_of_its_own(job, i);
        if (rho <= 0) continue;
        const Point d = ray_direction(i);
        const Point at{job.hole.centre_px.x + rho * d.x, job.hole.centre_px.y + rho * d.y};
        const auto known = [&](const Body& body) { return body.covers(at, 4 * job.levels.blur_px); };
        if (std::any_of(found.begin(), found.end(), known)) continue;
        ++tried;
        const auto body = body_at(job.map, job.levels, at);
        if (body && !contradicted(job, *body)) found.push_back(*body);
    }
    return found;
}

void hide_beside_parts(Job& job) {
    constexpr int reach = 5;
    RayFlags part = job.hidden;
    // A run of copper nearer than the ring, next to a part, is the rest of that part.
    for (const int step : {1, -1})
        for (int k = 0, since = rays; k < 2 * rays; ++k) {
            const std::size_t at = idx(step * k);
            since = part[at] ? 0 : since + 1;
            if (job.answer[at] != Answer::local || since > reach) continue;
            part[at] = true;
            since = 0;
        }
    for (std::size_t i = 0; i < rays; ++i)
        if (part[i] && !job.hidden[i]) {
            job.hidden[i] = true;
            job.answer[i] = Answer::hidden;
        }
}

} // namespace ringwall::rings
