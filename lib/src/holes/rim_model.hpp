// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"
#include "ringwall/transmission.hpp"

#include "holes/rim_shared.hpp"

#include <Eigen/Core>

#include <algorithm>
#include <optional>
#include <vector>

namespace ringwall {

/// What lies outside the hole's wall in one sector of the turn: a plateau, and within the fitted band perhaps
/// one more step (a pad's edge, the far side of a copper-free ring).
struct RimSector {
    bool used = true; ///< false: hidden, or nothing to fit there
    double lift = 0;  ///< T of the plateau minus the common outside level
    bool has_step = false;
    bool in_ring =
        false; ///< the step belongs to the ring round the whole hole: gap_px is its departure from it
    bool gap_free = true;       ///< false: the step stands where it is (touching, by default)
    double gap_px = 0;          ///< from the wall's outside to the step
    double gap_least_px = 0;    ///< a plated wall and a step nearer than this could trade places
    double gap_expected_px = 0; ///< where the first look saw it
    double beyond = 0;          ///< T behind the step
    double beyond_expected = 0;
    double band_px = 0; ///< fitted distance behind the wall
};

/// A round hole in T: void | wall (when plated) | outside level of the sector | perhaps a step. Concentric,
/// blurred.
struct RimModel {
    Point centre_px;
    double radius_px = 0; ///< of the air
    double wall_px = 0;   ///< plating; 0 and not fitted for a bare wall
    bool plated = false;
    double open = 1;        ///< T of the air
    double outside = 0;     ///< common level outside
    double ring_gap_px = 0; ///< mean gap of a round ring of copper
    bool ring_eccentric = false;
    Point ring_offset_px; ///< its centre minus the hole's: a drill that ran off to one side
    std::vector<RimSector> sectors;

    [[nodiscard]] double drill_radius_px() const { return radius_px + wall_px; }
    [[nodiscard]] int sector_of(double dx, double dy) const;
    /// Gap behind the wall of a sector in the direction of a unit vector (y down); 0 where the drill cut the
    /// copper.
    [[nodiscard]] double gap_at(const RimSector& sector, double ux, double uy) const {
        if (!sector.in_ring) return sector.gap_px;
        return std::max(0.0, ring_gap_px + ring_offset_px.x * ux + ring_offset_px.y * uy + sector.gap_px);
    }
    /// The same in the middle of sector `k`.
    [[nodiscard]] double gap_of(std::size_t k) const;
};

/// What is believed before the pixels speak; standard deviations, 0 or less: no belief.
struct RimBelief {
    double open = 1, open_u = 0.01;
    double outside = 0, outside_u = 0;
    double lift_u = 0.002;       ///< spread of sectors about the common outside level
    double ring_gap_u_px = 0.05; ///< departure of one sector's gap from the ring's
    double ring_offset_u_px = 4;
    double gap_u_px = 1.5; ///< how far the first look at a step can be wrong
    double beyond_u = 0.05;
};

struct RimFit {
    RimModel model;
    bool converged = false;
    double chi2 = 0;
    std::vector<double> sector_misfit; ///< chi-square a pixel, by sector
    int pixels = 0;
    int parameters = 0;
    /// Covariance of (x, y, radius, wall) at k = 1, scaled by the larger of 1 and chi2/dof. Wall row 0 when
    /// bare.
    Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero();
    /// What the hole says of (sigma, barrel) with everything of its own eliminated: gradient and curvature of
    /// chi2/2.
    Eigen::Vector2d shared_gradient = Eigen::Vector2d::Zero();
    Eigen::Matrix2d shared_curvature = Eigen::Matrix2d::Zero();
    /// Change of (x, y, radius, wall) for a unit change of (sigma, barrel): carries their uncertainty into
    /// the hole's.
    Eigen::Matrix<double, 4, 2> by_shared = Eigen::Matrix<double, 4, 2>::Zero();

    [[nodiscard]] double chi2_per_dof() const {
        return pixels > parameters ? chi2 / (pixels - parameters) : 0;
    }
};

/// Which pixels are fitted and how they weigh, held still: chi-squares of two fits with one frame may be
/// compared.
struct RimFrame {
    RimModel model;
    RimShared shared;
};

/// Least squares (Levenberg-Marquardt with analytic derivatives, Huber weights at 3 sigma) over the pixels
/// between radius - 6 sigma and each sector's band behind the wall,
/// of the start or of the frame where one is given. Methods 1.3: unbiased and at the bound
/// for R >= 2 sigma.
RimFit fit_rim(ImageView<const float> t, const NoiseModel& noise, const RimModel& start,
               const RimShared& shared, const RimBelief& belief, const RimFrame* frame = nullptr);

/// T that the model predicts at a distance from the centre in a sector; tables rebuilt at each call: for few
/// points.
double rim_value(const RimModel& model, const RimShared& shared, double rho_px, int sector);

} // namespace ringwall
