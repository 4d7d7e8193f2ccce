// SPDX-License-Identifier: Apache-2.0
#include "inspection/stages.hpp"

#include "holes/find.hpp"
#include "holes/fit.hpp"
#include "rings/rings.hpp"

namespace ringwall {

namespace {

constexpr double ring_search_px = 160;
constexpr double given_share = 0.01;      // how well a stated board thickness is known
constexpr double given_foil_share = 0.05; // and a stated foil

BoardBuild build_of(const InspectRequest& request) {
    BoardBuild build;
    if (request.board_mm) build.board_mm = *request.board_mm, build.u_board_mm = given_share * *request.board_mm;
    if (request.foil_um) build.foil_um = *request.foil_um, build.u_foil_um = given_foil_share * *request.foil_um;
    return build;
}

void ring_of(const TransmissionMap& map, const MaterialMap& materials, Hole& hole, std::span<const Hole> neighbours,
             const RingRequest& request) {
    if (request.wall_by_person) hole.wall.state = *request.wall_by_person;
    RingOptions options;
    options.confidence = request.confidence;
    options.search_px = ring_search_px;
    options.seed = request.seed;
    measure_ring(map, materials, hole, neighbours, options);
}

} // namespace

const Stages& real_stages() {
    static const Stages stages = [] {
        Stages real;
        real.describe_file = describe_file;
        real.load = load_radiograph;
        real.to_transmission = to_transmission;
        real.classify = classify;
        real.find_holes = [](const TransmissionMap& map, const MaterialMap& materials, Watch& watch) {
            return holes::find_holes(map, &materials, watch);
        };
        real.learn = [](const TransmissionMap& map, const MaterialMap& materials,
                        std::span<const HoleCandidate> candidates, const InspectRequest& request, Watch& watch) -> SharedPriors {
            return std::make_shared<const HolePriors>(learn_priors(map, materials, candidates, build_of(request), watch));
        };
        real.fit = [](const TransmissionMap& map, const MaterialMap& materials, const SharedPriors& priors,
                      const HoleCandidate& candidate) {
            return fit_hole(map, materials, *static_cast<const HolePriors*>(priors.get()), candidate);
        };
        real.reach_px = [](const Hole& hole) {
            return hole.bore_px.value_or(2 * hole.seed.radius_px) / 2 + ring_search_px + 10;
        };
        real.ring = ring_of;
        return real;
    }();
    return stages;
}

} // namespace ringwall
