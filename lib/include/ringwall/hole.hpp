// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"

#include <string>
#include <utility>
#include <vector>

namespace ringwall {

enum class HoleKind { hole, via, slot, filled };
enum class HoleShape { round, out_of_round, undecided };
enum class WallState { plated, bare, incomplete, undecided };
enum class KeepOutState { ring_seen, touching, runs_on, none_in_view, undecided };

/// Part of the turn, anticlockwise from `from_deg` to `to_deg`, degrees in [0, 360); wraps when to < from.
struct Arc {
    double from_deg = 0;
    double to_deg = 0;
    bool operator==(const Arc&) const = default;
};

/// One direction of a hole's contour; angle anticlockwise as seen on screen, 0 = +x.
struct ContourPoint {
    double angle_deg = 0;
    double radius_px = 0; ///< of the boundary of the air
    double u_px = 0;
    bool operator==(const ContourPoint&) const = default;
};

/// A place where a hole may be, before anything is fitted. Pixels of the whole picture.
struct HoleCandidate {
    Point centre_px;
    double radius_px = 0;   ///< of the bright core, to a pixel or so
    bool dark_ring = false; ///< ringed by something darker than what lies further out (a barrel)
    bool elongated = false; ///< a slot: see long_px
    double long_px = 0;     ///< length over all of a slot
    double angle_deg = 0;   ///< direction of its long axis
    bool filled = false;    ///< a dense round body instead of air (screw, pin)
    bool added_by_person = false;
    double score = 0; ///< 0 to 1
};

/// Why a direction of a gap profile has no value.
enum class GapReason { measured, hidden, merged, none, own };

/// One ray of a gap profile, from the hole's drilled wall outward.
struct GapSample {
    double angle_deg = 0;
    double gap_px = 0; ///< meaningful only when reason == measured
    double u_px = 0;
    GapReason reason = GapReason::none;
    bool operator==(const GapSample&) const = default;
};

/// Copper-free ring of one plane (face-on: at least `plane` foils from here outward).
struct PlaneGap {
    int plane = 1;
    KeepOutState state = KeepOutState::undecided;
    Estimate min_px;
    double min_angle_deg = 0;
    double p_low_px =
        0; ///< (1 - confidence) quantile of the smallest gap; meaningful when min_px has a value
    std::vector<GapSample> profile; ///< 360 entries, or empty
};

struct HoleWall {
    WallState state = WallState::undecided;
    std::string why;                  ///< of `undecided`
    double covered_fraction = 0;      ///< of the seen turn that carries plating
    std::vector<Arc> missing_arcs;    ///< of `incomplete`
    Estimate thickness_px;            ///< by the shared-blur fit
    Estimate thickness_integrated_px; ///< from the area deficit, free of blur
};

/// What the search for copper round a hole was able to see, in T.
struct CopperSight {
    double laminate = 0; ///< level that darkening is counted from; 0: no search was made
    double noise = 0;    ///< sigma of a pixel over it
    double blur_px = 0;  ///< of the picture
    double alternative =
        0; ///< darkening that the likelihood test inside a fitted ring asks for; 0: no ring was fitted
    double evidence = 0;       ///< log likelihood that this test must gain
    double threshold = 0;      ///< without a ring: least darkening of the smoothed picture that counts
    double smooth_noise = 0;   ///< its sigma
    double smoothing_px = 0;   ///< Gaussian added
    double least_area_px2 = 0; ///< a piece smaller than this counts only if deeper by small_z * smooth_noise
    double small_z = 0;
};

struct KeepOut {
    KeepOutState state = KeepOutState::undecided;
    std::string why; ///< of `undecided`
    Estimate min_px; ///< contract.md, keepout.min_mm
    double min_angle_deg = 0;
    double p_low_px = 0;
    double searched_to_px = 0;
    CopperSight sight;
    Estimate mean_px;        ///< mean gap over the directions that have one
    double own_outer_px = 0; ///< radius of own copper's outer edge; 0: none
    std::vector<Arc> touching_arcs;
    std::vector<Arc> runs_on_arcs;
    double largest_gap_not_excluded_px = 0; ///< of `touching`
    std::vector<GapSample> profile;         ///< 360 entries, or empty for a via
    std::vector<PlaneGap> planes;
};

/// One component of one quantity's uncertainty, k = 1, in the quantity's unit.
struct BudgetLine {
    std::string quantity;  ///< "bore_mm", "keepout_min_mm", ...
    std::string component; ///< "noise", "edge model", "level choice", "scale", ...
    double u = 0;
    double share = 0; ///< of the variance, 0 to 1
    bool operator==(const BudgetLine&) const = default;
};

/// A hole as measured in one face-on picture, in px. Made by the holes stage; wall and keep-out by the rings
/// stage.
struct Hole {
    HoleCandidate seed;
    HoleKind kind = HoleKind::hole;
    Point centre_px;
    double u_x_px = 0, u_y_px = 0;
    double seen_fraction = 1; ///< share of the turn that nothing hides
    std::vector<Arc> hidden_arcs;
    double cover =
        1; ///< share of the beam that passes what lies evenly in front of the whole hole; 1: nothing
    Estimate bore_px; ///< diameters
    Estimate inscribed_px;
    Estimate drill_px;
    Estimate roundness_px;     ///< radial peak to valley, noise taken out
    Estimate furthest_void_px; ///< radius from the centre
    HoleShape shape = HoleShape::undecided;
    Estimate excess_px;         ///< largest departure outward of the fitted circle
    Estimate excess_px2;        ///< area between contour and fitted circle beyond 2u
    std::vector<Arc> worn_arcs; ///< where the departure is
    std::vector<ContourPoint> contour;
    Estimate
        blur_px; ///< Gaussian sigma that the rim was fitted with: what all edges of the picture say together
    HoleWall wall;
    KeepOut keepout;
    std::vector<BudgetLine> budget_px; ///< quantities named in px: "bore_px", "keepout_min_px", ...
};

} // namespace ringwall
