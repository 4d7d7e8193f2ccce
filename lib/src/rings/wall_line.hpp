// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"

#include <array>

namespace ringwall::rings {

inline constexpr int rays = 360;

/// Unit vector of ray i: anticlockwise on screen, y down.
Point ray_direction(int ray);
/// Nearest ray to the direction (dx, dy), y down; within 0.01 degrees of the exact one before rounding.
int ray_of(double dx, double dy);
/// The same angle in degrees, [0, 360).
double angle_deg_of(double dx, double dy);

/// The drilled wall seen from the hole's centre: radius and uncertainty along each ray.
///
/// Plated: half the drill diameter. Bare and round: half the bore. Bare and out of round: the measured
/// contour, its points joined linearly. Plated and out of round: the contour plus half of (drill - bore).
struct WallLine {
    std::array<double, rays> radius_px{};
    double mean_px = 0;
    double largest_px = 0;
    double u_radius_px = 0;        ///< common to all rays
    double u_x_px = 0, u_y_px = 0; ///< of the centre
    double u_ray_px = 0;           ///< of one ray on its own (out of round only)
    bool round = true;
    bool valid = false; ///< false: the hole has neither bore nor drill diameter
};
WallLine wall_line(const Hole& hole);

/// Arcs (degrees, from..to anticlockwise) as flags of rays; a ray is in when its angle lies within the arc.
std::array<bool, rays> rays_in(const std::vector<Arc>& arcs);
/// Flags as arcs, half a degree beyond the outermost ray on both sides; all set: one arc 0 to 360.
std::vector<Arc> arcs_of(const std::array<bool, rays>& flags);

} // namespace ringwall::rings
