// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "inspection/stages.hpp"
#include "ringwall/inspection.hpp"

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace ringwall {

/// Results of one stage for one hole, found again by everything they depend on: a rerun with other decisions
/// computes only what differs, and cannot give other bits than a full run, since both are the same calls.
class HoleCache {
  public:
    /// Null when not there. Entries not asked for during two runs are forgotten.
    [[nodiscard]] const Hole* find(const std::string& key);
    void put(const std::string& key, Hole hole);
    void start_run();

  private:
    struct Entry {
        Hole hole;
        int last_run = 0;
    };
    std::map<std::string, Entry> entries_;
    int run_ = 0;
};

/// What the exposure stage found, apart from the pixels.
struct ExposureFacts {
    Radiometry radiometry = Radiometry::unknown;
    bool t_is_physical = false;
    DenseSide dense = DenseSide::dark;
    NoiseModel noise;
    Estimate blur_sigma_px;
    double saturated_fraction = 0;
    std::vector<std::string> warnings;
};

struct StackProducts; // inspection/inspect_stack.hpp

struct Session::Products {
    InspectRequest request;
    Stages stages;

    std::optional<SourceFacts> facts;
    std::string why_nothing; ///< not empty: read well, but cannot be measured at all
    std::optional<ExposureFacts> exposure;
    std::optional<std::vector<HoleCandidate>> found;
    SharedPriors priors;
    HoleCache fits, rings;
    std::optional<std::pair<EdgeOptions, EdgeView>> edge_view; ///< of an edge-on picture
    std::vector<Session> edge_on;                              ///< one for each of the request's edge_on

    std::shared_ptr<const StackProducts> stack; ///< of a slice stack; then the parts of a picture stay empty

    // The large ones; dropped over the memory limit.
    std::shared_ptr<const TransmissionMap> map;
    std::shared_ptr<const MaterialMap> materials;

    int holes_fitted = 0,
        holes_ringed = 0; ///< by the last run: for tests and for showing what a decision cost

    /// Loads and prepares what is not there. Throws Error, Cancelled.
    void prepare(InspectWatch& watch);
    /// Only the picture as transmission (for drawing). Throws Error, Cancelled.
    void prepare_map(Watch& watch);
    /// Gives back the pixels when they exceed the request's limit; `always`: whatever they take.
    void drop_large(bool always = false);
};

/// Evidence that is not what the case was written about is not measured. Throws Error(input) when the SHA-256
/// is not the one expected.
void check_expected(const InspectRequest& request, const SourceFacts& facts);

/// A session whose stages are not the real ones. For tests.
Session session_with(InspectRequest request, Stages stages);

} // namespace ringwall
