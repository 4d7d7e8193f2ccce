// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

struct Group {
    int first = 0, count = 0;
};

/// Runs of rays answered `local`, breaks of two rays passed over.
std::vector<Group> groups_of(const Job& job) {
    const auto in = [&](int i) { return job.answer[idx(i)] == Answer::local; };
    int start = 0;
    while (start < rays && (in(start) || in(start - 1) || in(start - 2)))
        ++start;
    std::vector<Group> out;
    if (start == rays) return out;
    for (int i = start; i < start + rays; ++i) {
        if (!in(i)) continue;
        int last = i;
        for (int k = i + 1; k <= last + 3 && k < start + rays; ++k)
            if (in(k)) last = k;
        out.push_back({i, last - i + 1});
        i = last;
    }
    return out;
}

/// Evidence for copper on a ray between `from_px` and `to_px` as far as the shape cannot have made it.
double unexplained(const Job& job, const RingExpectation& ring, const Feature& feature, int ray,
                   double from_px, double to_px) {
    const Point d = ray_direction(ray);
    double end = from_px;
    while (end < to_px && feature.distance(end * d.x, end * d.y) > 2 * job.levels.blur_px)
        end += PolarField::pace_px;
    return copper_gain(job.scene(), job.field, ring, ray, 1, from_px, end);
}

/// The group's rays that agree with the shape to a pixel or two, and those beside it within the blur, answer
/// with it.
void answer_with(Job& job, const RingExpectation& ring, const FeatureSeen& seen, const Feature& feature,
                 const Group& group, Answer otherwise) {
    const int index = static_cast<int>(job.features.size());
    const double blur = job.levels.blur_px;
    const double radius = std::max(seen.from_px[idx(group.first + group.count / 2)], 3.0);
    const int margin = std::clamp(static_cast<int>(std::ceil(2 * blur / radius * 57.3)), 1, 20);
    bool any = false;
    for (int i = group.first - margin; i < group.first + group.count + margin; ++i) {
        const std::size_t at = idx(i);
        const bool member =
            i >= group.first && i < group.first + group.count && job.answer[at] == Answer::local;
        if (!member && job.answer[at] != otherwise) continue;
        const double end = ring.edge_px[at] > 0 ? ring.edge_px[at] : job.searched_px;
        const double rho = feature.along(ray_direction(i), job.wall.radius_px[at], end);
        const double clear = rho > 0 ? std::min(rho - 2 * blur, seen.to_px[at]) : seen.to_px[at];
        const bool agrees = !member || std::abs(rho - seen.from_px[at]) < 2 + 2 * blur ||
                            unexplained(job, ring, feature, i, seen.from_px[at], clear) < enough_evidence;
        if (rho > 0 && agrees) {
            job.answer[at] = Answer::feature;
            job.feature_of[at] = index;
            any = true;
        } else if (member && rho == 0 &&
                   (agrees || feature.distance(seen.from_px[at] * ray_direction(i).x,
                                               seen.from_px[at] * ray_direction(i).y) < 2 * blur)) {
            job.answer[at] = otherwise;
        }
    }
    if (any) job.features.push_back(feature);
}

} // namespace

namespace {

/// Gap to the nearest point of a group.
double nearest_of(const Job& job, const FeatureSeen& seen, const Group& group) {
    double least = 1e9;
    for (int i = group.first; i < group.first + group.count; ++i)
        if (job.answer[idx(i)] == Answer::local)
            least = std::min(least, seen.from_px[idx(i)] - job.wall.radius_px[idx(i)]);
    return least;
}

} // namespace

void fit_features(Job& job, const RingExpectation& ring, FeatureSeen seen, Answer otherwise) {
    const std::vector<Group> groups = groups_of(job);
    double nearest = 1e9;
    for (const Group& group : groups)
        nearest = std::min(nearest, nearest_of(job, seen, group));
    // A shape is fitted for the smallest gap's sake; what lies well behind that is as well told ray by ray.
    const double behind = nearest + 6 + 4 * job.levels.blur_px;
    for (const Group& group : groups) {
        if (group.count > 200 || nearest_of(job, seen, group) > behind) continue;
        seen.first_ray = group.first;
        seen.count = group.count;
        for (int k = 0; k < group.count; ++k) // a break takes its neighbour's word
            if (const std::size_t at = idx(group.first + k); job.answer[at] != Answer::local && k > 0) {
                seen.from_px[at] = seen.from_px[idx(group.first + k - 1)];
                seen.to_px[at] = seen.to_px[idx(group.first + k - 1)];
            }
        if (const auto feature = fit_feature(job.scene(), ring, seen))
            answer_with(job, ring, seen, *feature, group, otherwise);
    }
}

} // namespace ringwall::rings
