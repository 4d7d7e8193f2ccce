// SPDX-License-Identifier: Apache-2.0
#include "rings/job.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {
namespace {

/// Mean T along a ray between own copper and the ring's edge, clear of both blurs where there is room; -1:
/// nothing usable.
double bridge_t(const Job& job, const RingExpectation& ring, int ray) {
    const double own = std::max(ring.own_px[idx(ray)], job.wall.radius_px[idx(ray)] + job.wall_zone_px);
    const double edge = ring.edge_px[idx(ray)];
    const double clear = std::min(2 * job.levels.blur_px, 0.45 * std::max(0.0, edge - own));
    const int from = static_cast<int>(std::ceil((own + clear) / PolarField::pace_px));
    const int to = std::max(from, static_cast<int>((edge - clear) / PolarField::pace_px));
    const int at = ((ray % rays) + rays) % rays;
    double sum = 0;
    int n = 0;
    for (int j = from; j <= to && j < job.field.radii; ++j)
        if (job.field.usable[job.field.at(at, j)])
            sum += static_cast<double>(job.field.t[job.field.at(at, j)]), ++n;
    return n > 0 ? sum / n : -1;
}

/// Mean T of what bridges the ring over rays first .. first + count - 1, without its rims, half in its blur;
/// -1: nothing usable.
double mean_t(const Job& job, const RingExpectation& ring, int first, int count) {
    double sum = 0;
    int n = 0;
    const int inset = count / 4;
    for (int i = first + inset; i < first + count - inset; ++i)
        if (const double t = bridge_t(job, ring, i); t > 0) sum += t, ++n;
    return n > 0 ? sum / n : -1;
}

/// Darker than all planes behind the ring's edge together by more than a foil that may run along: no copper
/// of the board's, but a part in front.
bool is_part(const Job& job, const RingExpectation& ring, int first, int count) {
    const double t = mean_t(job, ring, first, count);
    return t > 0 && t < ring.copper * std::pow(job.levels.copper.front() / job.levels.laminate, 1.5);
}

bool runs_into_hidden(const Job& job, int first, int count) {
    for (int i = first - 1; i <= first + count; ++i)
        if (job.hidden[idx(i)]) return true;
    return false;
}

/// Mean T behind the ring's edge, `past` beyond it, over rays first .. first + count - 1.
struct Behind {
    double sum = 0;
    int count = 0;
    [[nodiscard]] double mean() const { return count > 0 ? sum / count : 1e9; }
};
Behind behind_edge(const Job& job, const RingExpectation& ring, const RayFlags& leave_out, int first,
                   int count, double past) {
    Behind out;
    for (int i = first; i < first + count; ++i) {
        if (leave_out[idx(i)] || job.hidden[idx(i)]) continue;
        double last = 0;
        for (const auto& edge : ring.planes)
            last = std::max(last, edge[idx(i)]);
        const int j = static_cast<int>((last + past) / PolarField::pace_px);
        const int ray = ((i % rays) + rays) % rays;
        if (j >= job.field.radii || !job.field.usable[job.field.at(ray, j)]) continue;
        out.sum += static_cast<double>(job.field.t[job.field.at(ray, j)]);
        ++out.count;
    }
    return out;
}

/// Copper that bridges the ring over rays first .. first + count - 1, from the hole to the plane: a spoke
/// when the plane behind it is no darker than beside it, a trace of another layer that passes over it when
/// what it adds in the ring it adds there too. Looks on behind the edge only until five sigma decide: other
/// things lie there.
bool passes_over(const Job& job, const RingExpectation& ring, const RayFlags& bridge, int first, int count) {
    const int inset = count / 4;
    const double own_t = mean_t(job, ring, first, count);
    const double foil = own_t > 0 ? own_t / ring.laminate : job.levels.copper.front() / job.levels.laminate;
    const double blur = job.levels.blur_px;
    const double px_a_ray = std::max(ring.edge_px[idx(first)], 1.0) / 57.3;
    const int margin = static_cast<int>(std::ceil(2 * blur / px_a_ray)), flank = std::max(4, count / 2);
    double evidence = 0; // for what it adds, log likelihood
    const RayFlags none{};
    for (double past = 1.5 * blur; past < 9 * blur && std::abs(evidence) < 13; past += PolarField::pace_px) {
        const Behind here = behind_edge(job, ring, none, first + inset, count - 2 * inset, past);
        const Behind left = behind_edge(job, ring, bridge, first + count + margin, flank, past);
        const Behind right = behind_edge(job, ring, bridge, first - margin - flank, flank, past);
        const Behind& beside = left.mean() < right.mean() ? left : right; // a plane may end there: the darker
        if (here.count == 0 || beside.count == 0) continue;
        const double same = here.mean() - beside.mean(), more = here.mean() - foil * beside.mean();
        const double sigma = job.levels.noise.sigma(beside.mean());
        const double area =
            PolarField::pace_px * pixels_across(px_a_ray) / (1.0 / here.count + 1.0 / beside.count);
        evidence += area * (same * same - more * more) / (2 * sigma * sigma);
    }
    return evidence > 0;
}

} // namespace

std::vector<std::pair<int, int>> runs_of(const RayFlags& flags) {
    std::vector<std::pair<int, int>> out;
    int start = 0;
    while (start < rays && (flags[idx(start)] || flags[idx(start - 1)] || flags[idx(start - 2)]))
        ++start;
    if (start == rays) return {{0, rays}};
    for (int i = start; i < start + rays; ++i) {
        if (!flags[idx(i)]) continue;
        int last = i;
        for (int k = i + 1; k <= last + 3 && k < start + rays; ++k)
            if (flags[idx(k)]) last = k;
        out.emplace_back(i, last - i + 1);
        i = last;
    }
    return out;
}

int bridging_foils(const Job& job, const RingExpectation& ring) {
    double sum = 0;
    int n = 0;
    for (int i = 0; i < rays; ++i) {
        if (!job.joined[idx(i)] || !job.joined[idx(i - 1)] || !job.joined[idx(i + 1)]) continue;
        if (const double t = bridge_t(job, ring, i); t > 0) sum += t, ++n;
    }
    return n == 0 ? 99 : job.levels.foils(sum / n);
}

void answer_bridges(Job& job, const RingExpectation& ring, const RayFlags& bridge) {
    for (const auto& [first, count] : runs_of(bridge)) {
        const double px_a_ray = std::max(ring.edge_px[idx(first)], 1.0) / 57.3;
        const int margin = static_cast<int>(std::ceil(2.5 * job.levels.blur_px / px_a_ray));
        for (int i = first - margin; i < first + count + margin; ++i) // its own rims, half in its blur
            if (job.answer[idx(i)] == Answer::local) job.answer[idx(i)] = Answer::contour;
        if (is_part(job, ring, first, count)) {
            for (int i = first - margin; i < first + count + margin; ++i)
                job.hidden[idx(i)] = true, job.answer[idx(i)] = Answer::hidden;
            continue;
        }
        // Darker behind the edge than any foils beside it: what bridges the ring adds to them.
        const bool passes =
            runs_into_hidden(job, first, count) || passes_over(job, ring, bridge, first, count);
        for (int i = first; i < first + count; ++i) {
            if (!bridge[idx(i)] || job.hidden[idx(i)]) continue;
            job.answer[idx(i)] = passes ? Answer::merged : Answer::own;
            job.joined[idx(i)] = !passes;
        }
    }
}

} // namespace ringwall::rings
