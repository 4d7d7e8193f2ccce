// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/wall_line.hpp"
#include "ringwall/image.hpp"
#include "ringwall/transmission.hpp"

#include <Eigen/Core>

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace ringwall::rings {

/// Cumulative normal distribution and its density, from a table: |error| < 2e-6.
struct EdgeValue {
    double cdf;
    double pdf;
};
namespace edge_table {
inline constexpr double reach = 6.0;
inline constexpr int cells = 3072;
extern const std::array<EdgeValue, cells + 2> values; ///< made when the program starts
} // namespace edge_table
inline EdgeValue blurred_edge(double z) {
    const double at = (z + edge_table::reach) * (edge_table::cells / (2 * edge_table::reach));
    if (!(at > 0)) return {0, 0};
    if (at >= edge_table::cells) return {1, 0};
    const auto cell = static_cast<std::size_t>(at);
    const double share = at - static_cast<double>(cell);
    const EdgeValue &a = edge_table::values[cell], &b = edge_table::values[cell + 1];
    return {a.cdf + share * (b.cdf - a.cdf), a.pdf + share * (b.pdf - a.pdf)};
}

inline constexpr int most_order = 6;

/// A closed contour in px from the hole's centre (y down): a circle plus harmonics 2..order about the
/// circle's own centre, or with `sides` a regular polygon. `r50` is the radius of the half-height line (of a
/// polygon to the middle of a side); blur moves a round one inward of the true edge, see true_radius.
struct Contour {
    double cx = 0, cy = 0, r50 = 0;
    int order = 1;
    std::array<double, 2 * (most_order - 1)> harmonic{}; ///< cos 2, sin 2, cos 3, ...
    int sides = 0;                                       ///< of a polygon: 3 or more
    double turn = 0;                                     ///< rad (x, y down) of the normal of one side

    [[nodiscard]] int parameters() const { return sides > 0 ? 4 : 3 + 2 * (order - 1); }
    /// How far outside the half-height line a point lies, to first order in the harmonics.
    [[nodiscard]] double outside(double x, double y) const;
    /// Of a polygon: nearer than `reach_px` to two sides at once, where blur rounds the corner off.
    [[nodiscard]] bool near_corner(double x, double y, double reach_px) const;
    /// Derivatives of -outside with respect to (cx, cy, r50, then harmonics or turn) at a point.
    void slopes(double x, double y, double* out) const;
    /// Distance from the hole's centre to the half-height line along a unit direction (hole's centre inside
    /// the contour).
    [[nodiscard]] double along(Point direction) const;
};

/// Half-height radius of a blurred disk's edge to its true radius: R = sqrt(r50^2 + blur^2); good from R = 3
/// blur up.
double true_radius(double r50, double blur_px);
double half_height_radius(double radius_px, double blur_px);

/// Going outward: level[0], edge 0, level[1], edge 1, ... The first `walls` edges are the hole's own and
/// known up to one common shift outward and one of their centre; the others are free contours. No contour
/// comes inside the last wall edge when `walls` > 0. Levels from number `common` outward may differ by sector
/// of the turn: planes end behind a ring.
struct StepModel {
    int walls = 0;
    std::vector<Contour> contours;
    std::vector<double> level; ///< see level_at
    double blur_px = 1;
    double wall_shift_px = 0, wall_x_px = 0, wall_y_px = 0;
    int common = 0, sectors = 1;
    std::array<std::uint8_t, rays> sector{}; ///< of each ray

    [[nodiscard]] int edges() const { return walls + static_cast<int>(contours.size()); }
    [[nodiscard]] int level_count() const { return common + (edges() + 1 - common) * sectors; }
    /// Index into `level` of what lies behind `passed` edges on a ray.
    [[nodiscard]] int level_at(int passed, int ray) const {
        if (passed < common) return passed;
        return common + (passed - common) * sectors + sector[static_cast<std::size_t>(ray)];
    }
    [[nodiscard]] int blur_index() const { return level_count(); }
    [[nodiscard]] int shift_index() const { return level_count() + 1; } ///< then x and y of the walls' centre
    [[nodiscard]] int contour_index(int contour) const;
    [[nodiscard]] int parameters() const { return contour_index(static_cast<int>(contours.size())); }
};

/// One pixel that feels an edge. `wall[j]`: how far outside the half-height line of wall edge j.
struct FitPixel {
    float x, y, t;
    std::array<float, 2> wall;
    int ray;
};

/// What is known besides the pixels: levels, blur and wall position, each with a standard uncertainty.
struct StepPrior {
    std::vector<double> level, level_u;
    double blur_px = 1, blur_u_px = 0.05;
    double wall_shift_u_px = 0.02, wall_centre_u_px = 0.01;
    double contour_u_px = 30; ///< keeps a contour that no pixel feels where it started
};

struct StepFit {
    bool ok = false;
    StepModel model;
    Eigen::MatrixXd information; ///< of all parameters
    Eigen::MatrixXd covariance;  ///< its inverse, widened by chi-square where that is above 1
    double chi2 = 0;             ///< per degree of freedom
    int pixels = 0;
};

/// Weighted least squares (Levenberg-Marquardt, Huber beyond 4 sigma) of the step model on pixels; noise from
/// `noise`. Not ok: too few pixels, or more than 5 edges or 48 free values, which no ring asks for.
StepFit fit_steps(const StepModel& start, const StepPrior& prior, std::span<const FitPixel> pixels,
                  const NoiseModel& noise);

/// Per-ray score of contour `contour`: sum of slope x residual / variance and of slope^2 / variance; the
/// first over the second is how much further out the edge lies on that ray than the model has it.
struct RayScore {
    double push = 0;
    double weight = 0;
};
std::vector<RayScore> ray_scores(const StepModel& model, int contour, std::span<const FitPixel> pixels,
                                 const NoiseModel& noise);

} // namespace ringwall::rings
