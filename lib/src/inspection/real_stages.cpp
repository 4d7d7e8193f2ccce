// SPDX-License-Identifier: Apache-2.0
#include "holes/barrel_level.hpp"
#include "holes/find.hpp"
#include "holes/fit.hpp"
#include "inspection/stages.hpp"
#include "rings/least_copper.hpp"
#include "rings/rings.hpp"

#include <algorithm>

namespace ringwall {
namespace {

SharedPriors learn(const TransmissionMap& map, const MaterialMap& materials,
                   std::span<const HoleCandidate> found, const BoardFacts& facts, Watch& watch) {
    const BoardBuild build{.board_mm = facts.board_mm, .foil_um = facts.foil_um};
    return std::make_shared<HolePriors>(learn_priors(map, materials, found, build, watch));
}

Hole fit(const TransmissionMap& map, const MaterialMap& materials, const SharedPriors& priors,
         const HoleCandidate& candidate) {
    return fit_hole(map, materials, *static_cast<const HolePriors*>(priors.get()), candidate);
}

void ring(const TransmissionMap& map, const MaterialMap& materials, Hole& hole,
          std::span<const Hole> neighbours, const RingRequest& request) {
    RingOptions options;
    options.confidence = request.confidence;
    options.seed = request.seed;
    options.least_copper_share = request.least_copper_share;
    measure_ring(map, materials, hole, neighbours, options);
}

/// The ring stage looks no further than this from the hole's centre; its blur reaches a little beyond.
double reach_px(const Hole& hole) {
    const double widest =
        std::max({hole.bore_px.value_or(0), hole.drill_px.value_or(0), 2 * hole.seed.radius_px});
    return widest / 2 + RingOptions{}.search_px + 20;
}

/// Of all hardware holes whose surroundings were searched, the one that shows least decides.
std::optional<double> thinnest_copper_um(const TransmissionMap& map, const MaterialMap& materials,
                                         std::span<const Hole> holes, const BoardFacts& facts,
                                         double pixel_mm) {
    if (!map.t_is_physical) return std::nullopt;
    const CopperSight* worst = nullptr;
    double worst_share = 0; // of the laminate's level
    for (const Hole& hole : holes) {
        const CopperSight& sight = hole.keepout.sight;
        if (hole.kind != HoleKind::hole || sight.laminate <= 0) continue;
        const double share = rings::least_darkening(sight, pixel_mm) / sight.laminate;
        if (share > worst_share) worst_share = share, worst = &sight;
    }
    if (worst == nullptr) return std::nullopt;
    return copper_noticed_um(materials.levels, {.board_mm = facts.board_mm, .foil_um = facts.foil_um},
                             [worst, pixel_mm](double share) {
                                 return rings::chance_of_notice(*worst, pixel_mm, share * worst->laminate);
                             });
}

std::optional<double> darkening_share(const TransmissionMap& map, const MaterialMap& materials,
                                      const BoardFacts& facts, double copper_um) {
    if (!map.t_is_physical) return std::nullopt;
    return expected_darkening_share(materials.levels, {.board_mm = facts.board_mm, .foil_um = facts.foil_um},
                                    copper_um);
}

Stages linked() {
    Stages stages;
    stages.describe_file = describe_file;
    stages.load = load_radiograph;
    stages.to_transmission = to_transmission;
    stages.measure_edge_on = [](const TransmissionMap& map, const EdgeOptions& options, Watch& watch) {
        return measure_edge_on(map, options, watch);
    };
    stages.classify = classify;
    stages.find_holes = [](const TransmissionMap& map, const MaterialMap& materials, Watch& watch) {
        return holes::find_holes(map, &materials, watch);
    };
    stages.learn = learn;
    stages.fit = fit;
    stages.reach_px = reach_px;
    stages.ring = ring;
    stages.darkening_share = darkening_share;
    stages.thinnest_copper_um = thinnest_copper_um;
    return stages;
}

} // namespace

const Stages& real_stages() {
    static const Stages stages = linked();
    return stages;
}

} // namespace ringwall
