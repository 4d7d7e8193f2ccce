// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/error.hpp"
#include "ringwall/files.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/materials.hpp"
#include "ringwall/stackup.hpp"
#include "ringwall/transmission.hpp"

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace ringwall {

/// What fitting one hole needs besides the picture: learned once from the holes found automatically, so that
/// no decision of a person changes how another hole is fitted. The stages know what is in it.
using SharedPriors = std::shared_ptr<const void>;

/// What a person states of the board's build.
struct BoardFacts {
    std::optional<double> board_mm, foil_um;
};

/// What a person decided about one hole, for the stage that it concerns.
struct RingRequest {
    std::optional<WallState> wall_by_person;
    std::uint64_t seed = 0; ///< from the source's bytes and the hole's place
    double confidence = 0.95;
    double least_copper_share = 0; ///< of the laminate's T, that copper looked for takes away; 0: not known
};

/// The measuring stages as the inspection calls them. A seam: tests of session, cancel and remeasure put
/// their own here, and thereby state what the glue relies on: each function depends on its arguments alone.
struct Stages {
    std::function<SourceFacts(const std::filesystem::path&, const LoadLimits&)> describe_file;
    std::function<Radiograph(const std::filesystem::path&, const LoadLimits&)> load;
    std::function<TransmissionMap(Radiograph, const ExposureOptions&, Watch&)> to_transmission;
    std::function<EdgeView(const TransmissionMap&, const EdgeOptions&, Watch&)> measure_edge_on;
    std::function<MaterialMap(const TransmissionMap&, Watch&)> classify;
    std::function<std::vector<HoleCandidate>(const TransmissionMap&, const MaterialMap&, Watch&)> find_holes;
    std::function<SharedPriors(const TransmissionMap&, const MaterialMap&, std::span<const HoleCandidate>,
                               const BoardFacts&, Watch&)>
        learn;
    std::function<Hole(const TransmissionMap&, const MaterialMap&, const SharedPriors&, const HoleCandidate&)>
        fit;
    /// Radius round a hole's centre beyond which no other hole matters to its ring.
    std::function<double(const Hole&)> reach_px;
    std::function<void(const TransmissionMap&, const MaterialMap&, Hole&, std::span<const Hole>,
                       const RingRequest&)>
        ring;
    /// Share of the laminate's T that copper of that thickness takes away; nothing where that cannot be said.
    std::function<std::optional<double>(const TransmissionMap&, const MaterialMap&, const BoardFacts&,
                                        double copper_um)>
        darkening_share;
    /// Thinnest copper, um, that would have been seen beside every hole given; nothing where that cannot be
    /// said.
    std::function<std::optional<double>(const TransmissionMap&, const MaterialMap&, std::span<const Hole>,
                                        const BoardFacts&, double pixel_mm)>
        thinnest_copper_um;
};

/// The real ones.
const Stages& real_stages();

} // namespace ringwall
