// SPDX-License-Identifier: Apache-2.0
#include "inspection/stages.hpp"

namespace ringwall {

const Stages& real_stages() {
    static const Stages stages = [] {
        Stages real;
        const auto missing = [](const char* what) {
            return Error(Fault::program, std::string(what) + " is not built in");
        };
        real.describe_file = [=](const auto&, const auto&) -> SourceFacts { throw missing("reading"); };
        real.load = [=](const auto&, const auto&) -> Radiograph { throw missing("reading"); };
        real.to_transmission = [=](auto&&...) -> TransmissionMap { throw missing("exposure"); };
        real.classify = [=](auto&&...) -> MaterialMap { throw missing("materials"); };
        real.find_holes = [=](auto&&...) -> std::vector<HoleCandidate> { throw missing("finding holes"); };
        real.learn = [=](auto&&...) -> SharedPriors { throw missing("fitting holes"); };
        real.fit = [=](auto&&...) -> Hole { throw missing("fitting holes"); };
        real.reach_px = [](const Hole& hole) {
            return hole.bore_px.value_or(2 * hole.seed.radius_px) / 2 + 170;
        };
        real.ring = [=](auto&&...) { throw missing("measuring rings"); };
        return real;
    }();
    return stages;
}

} // namespace ringwall
