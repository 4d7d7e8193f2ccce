// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/body.hpp"
#include "rings/feature.hpp"
#include "rings/local_edge.hpp"
#include "rings/polar.hpp"
#include "rings/ring_fit.hpp"
#include "rings/rings.hpp"
#include "rings/scan.hpp"
#include "rings/smallest.hpp"

namespace ringwall::rings {

/// How one ray of the profile is answered.
enum class Answer {
    none,   ///< nothing met as far as was looked
    hidden, ///< something dense in the way
    own,    ///< own copper runs on along this ray
    merged, ///< copper bridges the ring and adds to what lies behind: the hole's own trace, or another's over
            ///< its land
    contour, ///< the ring's fitted contour
    feature, ///< a trace or land of its own, fitted as one
    local,   ///< an edge of its own
    far,     ///< seen only in the coarse far field, or another hole's wall
};

/// Work on one hole: what each step finds and the next ones use. Lengths in px from the hole's centre.
struct Job {
    const TransmissionMap& map;
    Hole& hole;
    std::span<const Hole> neighbours;
    const RingOptions& options;
    RingLevels picture_levels{};
    RingLevels levels{}; ///< of the neighbourhood
    WallLine wall{};
    std::vector<Body> bodies{}; ///< before the ring: nothing behind them is read
    bool plated = false;
    double wall_zone_px = 0; ///< what the wall's blur spoils
    double reach_px = 0;     ///< beyond the wall's largest radius, of the fine look
    double searched_px = 0;  ///< radius up to which copper was looked for
    Patch patch{};
    PolarField field{};
    std::array<RaySight, rays> sights{};     ///< of the smoothed patch
    std::array<RingSight, rays> ring_seen{}; ///< of the field averaged along the turn
    int ground = 0; ///< foils in the ring itself: of a plane joined to the hole all round
    RayFlags hidden{};
    RingFit ring{};
    std::array<LocalEdge, rays> local{};
    std::vector<Feature> features{};
    std::array<int, rays> feature_of{}; ///< index into features, of rays answered so
    std::array<double, rays> far_px{};
    std::array<Answer, rays> answer{};
    std::array<bool, rays> of_own_piece{}; ///< the copper met hangs together with the hole
    RayFlags joined{};                     ///< rays along which own copper runs on into a plane
    double land_px = 0;                    ///< outer radius of own copper round the hole, 0: none
    bool runs_on = false;
    double unclear_gap_px = 1e9; ///< nearest faint copper in the ring that may be own or another's
    bool all_joined =
        false; ///< of `runs_on`: no foil of the ring's edge is seen that could be another conductor's
    std::vector<GapOfRay> gaps{};
    /// Of the ring's fit parameters, then wall radius, centre x, centre y, then four of each feature.
    Eigen::MatrixXd covariance{};
    Eigen::Index wall_at = 0; ///< where the wall's three stand in it

    [[nodiscard]] Scene scene() const { return {map, levels, hole, wall, patch, plated}; }
    /// From the hole's position and the caller's seed: a hole's numbers do not depend on which others are
    /// measured.
    [[nodiscard]] std::uint64_t seed() const;
};

inline std::size_t idx(int ray) {
    return static_cast<std::size_t>(((ray % rays) + rays) % rays);
}

/// Fills patch, field, sights, ring_seen, hidden.
void look_around(Job& job);
/// Rays on which something in front of the hole darkens the air just inside its wall: a part that any copper
/// seen there may be the rest of.
RayFlags parts_over_bore(const Job& job);
/// Bodies of parts that what was answered as copper of its own turns out to be.
std::vector<Body> bodies_among_answers(const Job& job);
/// Rays answered `local` that run on from hidden ones become hidden: a part's own outline.
void hide_beside_parts(Job& job);
/// Fits the closed contour, if there is one: ring, land_px, and answers on the rays it explains or that
/// depart from it.
void fit_contour(Job& job);
/// Contour `contour` of the fitted ring has copper behind it on a ray: in the ray's sector its step is a good
/// part of a foil.
bool stands_on(const Job& job, std::size_t contour, int ray);
/// The ring's edges, as many as the picture can tell apart: the least chi-square plus log(pixels) a parameter
/// decides. Not ok: no closed ring.
RingFit fit_planes(const Job& job);
/// Runs of rays flagged, breaks of up to two rays passed over, as first and count.
std::vector<std::pair<int, int>> runs_of(const RayFlags& flags);
/// Answers the rays flagged, on which copper bridges the ring from the hole to a plane: own copper, joined,
/// where it is a spoke.
void answer_bridges(Job& job, const RingExpectation& ring, const RayFlags& bridge);
/// Foils of the copper that bridges the ring on rays `joined`, read half way across it; 99: none.
int bridging_foils(const Job& job, const RingExpectation& ring);
/// Answers for all other rays: own copper, local edges, far copper.
void answer_rest(Job& job);
/// Fits an edge of its own on each ray answered `local`, near `start_px`.
void fit_local(Job& job, const std::array<double, rays>& start_px, const RayFlags& from_wall);
/// Groups rays answered `local` that follow one another, and where a trace or a land explains a group,
/// answers with that. `seen` holds what was seen on all rays; `otherwise` is the answer of a ray that the
/// found shape leaves free.
void fit_features(Job& job, const RingExpectation& ring, FeatureSeen seen, Answer otherwise);
/// hole.keepout.profile, gaps and covariance.
void fill_profile(Job& job);
/// hole.keepout's state, smallest gap and budget.
void settle(Job& job);

} // namespace ringwall::rings
