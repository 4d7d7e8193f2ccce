// SPDX-License-Identifier: Apache-2.0
#include "layers/layered_hole.hpp"

#include "bridge/parallel.hpp"
#include "holes/find.hpp"
#include "layers/one_drill.hpp"
#include "rings/rings.hpp"

#include <algorithm>
#include <atomic>
#include <cmath>

namespace ringwall::layers {
namespace {

double middle_depth(const FlatStack& flat) {
    return flat.thickness_px.value() / 2;
}

/// The layer whose fit says most of bore and shape.
const Hole& best_of(const std::vector<Hole>& holes) {
    const auto worse = [](const Hole& a, const Hole& b) {
        const double u_a = a.bore_px ? a.bore_px.u() : 1e9, u_b = b.bore_px ? b.bore_px.u() : 1e9;
        return u_a < u_b;
    };
    return *std::min_element(holes.begin(), holes.end(), worse);
}

LayeredHole fitted(const FlatStack& flat, const std::vector<LayerMap>& maps, double pitch_px,
                   const HoleCandidate& found) {
    LayeredHole hole;
    for (const LayerMap& each : maps) {
        HoleCandidate seed = found;
        seed.centre_px = along_normal(flat, pitch_px, found.centre_px, middle_depth(flat), each.depth_px);
        hole.by_layer.push_back(fit_hole(each.map, each.materials, each.priors, seed));
    }
    hole.whole = best_of(hole.by_layer);
    hole.whole.seed = found;
    hole.joined.assign(maps.size(), 0);
    use_one_drill(flat, pitch_px, {}, hole);
    return hole;
}

/// Smaller: worse for whoever drives a screw in.
int rank(KeepOutState state) {
    switch (state) {
    case KeepOutState::touching:
        return 0;
    case KeepOutState::ring_seen:
        return 1;
    case KeepOutState::undecided:
        return 2;
    case KeepOutState::runs_on:
        return 3;
    case KeepOutState::none_in_view:
        return 4;
    }
    return 2;
}

bool worse(const KeepOut& a, const KeepOut& b) {
    if (a.state != b.state) return rank(a.state) < rank(b.state);
    return a.min_px && b.min_px && a.min_px.value() < b.min_px.value();
}

/// Of one layer without copper in view nothing is met.
void no_copper(const LayerMap& map, Hole& hole) {
    hole.keepout = KeepOut{};
    hole.keepout.state = KeepOutState::none_in_view;
    hole.keepout.why = "this layer shows no copper";
    hole.keepout.min_px = Estimate::missing(hole.keepout.why);
    hole.keepout.searched_to_px = std::min(map.map.t.width(), map.map.t.height()) / 4.0;
}

/// Where streaks cross the laminate no ring is told from them.
void streaked(double uneven, Hole& hole) {
    const KeepOut measured = hole.keepout;
    hole.keepout = KeepOut{};
    hole.keepout.state = KeepOutState::undecided;
    hole.keepout.why = "streaks: the laminate's own level varies by " +
                       std::to_string(std::lround(100 * uneven)) + " % over the board (k = 1)";
    hole.keepout.min_px = Estimate::missing(hole.keepout.why);
    hole.keepout.sight = measured.sight;
    hole.keepout.profile = measured.profile;
    for (GapSample& at : hole.keepout.profile)
        at.reason = GapReason::hidden, at.gap_px = at.u_px = 0;
    std::erase_if(hole.budget_px, [](const BudgetLine& line) { return line.quantity == "keepout_min_px"; });
}

PlaneGap plane_of(const KeepOut& keepout, int layer) {
    PlaneGap plane;
    plane.plane = layer;
    plane.state = keepout.state;
    plane.min_px = keepout.min_px;
    plane.min_angle_deg = keepout.min_angle_deg;
    plane.p_low_px = keepout.p_low_px;
    plane.profile = keepout.profile;
    return plane;
}

/// Smaller: nearer copper, or less known.
int rank(GapReason reason) {
    switch (reason) {
    case GapReason::merged:
        return 0;
    case GapReason::hidden:
        return 1;
    case GapReason::measured:
        return 2;
    case GapReason::own:
        return 3;
    case GapReason::none:
        return 4;
    }
    return 4;
}

/// The lesser of two layers' gaps in one direction.
bool nearer(const GapSample& a, const GapSample& b) {
    if (a.reason != b.reason) return rank(a.reason) < rank(b.reason);
    return a.reason == GapReason::measured && a.gap_px < b.gap_px;
}

std::vector<GapSample> least_profile(const std::vector<Hole>& layers) {
    std::vector<GapSample> least;
    for (const Hole& layer : layers) {
        const auto& profile = layer.keepout.profile;
        if (profile.empty()) continue;
        if (least.empty()) least = profile;
        for (std::size_t i = 0; i < profile.size() && i < least.size(); ++i)
            if (nearer(profile[i], least[i])) least[i] = profile[i];
    }
    return least;
}

/// Mean over the directions that have a gap; as uncertain as the worst layer's mean.
Estimate mean_of(const std::vector<GapSample>& profile, const Estimate& of_worst) {
    double sum = 0;
    int count = 0;
    for (const GapSample& at : profile)
        if (at.reason == GapReason::measured) sum += at.gap_px, ++count;
    return count > 0 && of_worst ? Estimate::of(sum / count, of_worst.u()) : of_worst;
}

/// The worst layer's keep-out as the hole's own, and every layer's as a plane.
void gather(LayeredHole& hole) {
    std::vector<PlaneGap> planes;
    const KeepOut* worst = nullptr;
    std::string undecided;
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        const KeepOut& keepout = hole.by_layer[k].keepout;
        planes.push_back(plane_of(keepout, static_cast<int>(k) + 1));
        if (keepout.state == KeepOutState::undecided)
            undecided = "layer " + std::to_string(k + 1) + ": " + keepout.why;
        hole.joined[k] = keepout.own_outer_px > 0 || keepout.state == KeepOutState::runs_on ? 1 : 0;
        if (worst == nullptr || worse(keepout, *worst)) worst = &keepout;
    }
    if (worst == nullptr) return;
    hole.whole.keepout = *worst;
    hole.whole.keepout.profile = least_profile(hole.by_layer);
    hole.whole.keepout.mean_px = mean_of(hole.whole.keepout.profile, worst->mean_px);
    for (const Hole& each : hole.by_layer)
        hole.whole.keepout.own_outer_px =
            std::max(hole.whole.keepout.own_outer_px, each.keepout.own_outer_px);
    // A ring narrower than the narrowest seen may lie on the layer that could not be read.
    if (!undecided.empty() && worst->state != KeepOutState::touching) {
        hole.whole.keepout.state = KeepOutState::undecided;
        hole.whole.keepout.why = undecided;
        hole.whole.keepout.min_px = Estimate::missing(undecided);
    }
    hole.whole.keepout.planes = std::move(planes);
}

} // namespace

Point along_normal(const FlatStack& flat, double pitch_px, Point from_px, double from_depth,
                   double to_depth) {
    auto [x, y] = flat.low_face.slope(from_px);
    x *= pitch_px, y *= pitch_px;
    const double way = (to_depth - from_depth) * pitch_px / std::sqrt(1 + x * x + y * y);
    return {from_px.x - x * way, from_px.y - y * way};
}

Hole hole_on_layer(const LayeredHole& hole, std::size_t layer) {
    Hole on = hole.whole;
    on.keepout = hole.by_layer[layer].keepout;
    std::erase_if(on.budget_px, [](const BudgetLine& line) { return line.quantity == "keepout_min_px"; });
    for (const BudgetLine& line : hole.by_layer[layer].budget_px)
        if (line.quantity == "keepout_min_px") on.budget_px.push_back(line);
    return on;
}

std::vector<LayeredHole> fit_layers(const FlatStack& flat, const std::vector<LayerMap>& maps, double pitch_px,
                                    Watch& watch) {
    const std::vector<HoleCandidate> found = holes::find_holes(through_map(flat), nullptr, watch);
    std::vector<LayeredHole> holes(found.size());
    std::atomic<int> done = 0;
    const int total = static_cast<int>(found.size());
    bridge::over_each(total, watch, [&](int i) {
        const auto at = static_cast<std::size_t>(i);
        holes[at] = fitted(flat, maps, pitch_px, found[at]);
        watch.progress("fitting holes", ++done, total);
    });
    return holes;
}

void measure_layer_rings(const FlatStack& flat, const std::vector<LayerMap>& maps, double pitch_px,
                         std::vector<LayeredHole>& holes, const LayerOptions& options, Watch& watch) {
    const int layers = static_cast<int>(maps.size()), total = static_cast<int>(holes.size()) * layers;
    std::vector<std::vector<Hole>> neighbours(maps.size());
    for (std::size_t k = 0; k < maps.size(); ++k)
        for (const LayeredHole& hole : holes)
            neighbours[k].push_back(hole.by_layer[k]);
    RingOptions ring;
    ring.confidence = options.confidence;
    ring.parts_in_front = false;
    ring.seed = options.seed;
    const double uneven = unevenness_of_laminate(maps);
    std::atomic<int> done = 0;
    bridge::over_each(total, watch, [&](int i) {
        const auto h = static_cast<std::size_t>(i / layers), k = static_cast<std::size_t>(i % layers);
        Hole& hole = holes[h].by_layer[k];
        // What the edge's fit left out as hidden is copper at the wall: nothing lies before one layer.
        hole.hidden_arcs.clear();
        if (maps[k].copper > 0)
            measure_ring(maps[k].map, maps[k].materials, hole, neighbours[k], ring),
                unbend(flat, pitch_px, maps[k].depth_px, hole);
        else
            no_copper(maps[k], hole);
        if (uneven > most_uneven) streaked(uneven, hole);
        watch.progress("measuring rings", ++done, total);
    });
    for (LayeredHole& hole : holes) {
        hole.whole.hidden_arcs.clear();
        for (const Hole& layer : hole.by_layer) // what one layer's edge left out another shows
            hole.whole.seen_fraction = std::max(hole.whole.seen_fraction, layer.seen_fraction);
        gather(hole);
    }
}

} // namespace ringwall::layers
