// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/polar.hpp"

#include <Eigen/Core>

#include <optional>

namespace ringwall::rings {

/// Copper of a known shape in or beside a ring, px from the hole's centre, y down. Fitted as a whole, because
/// a narrow thing's edge smoothed along the turn, or read at half height, comes out too far from the hole.
struct Feature {
    enum class Kind {
        strip,  ///< a trace that runs past: infinite, both edges straight
        tip,    ///< a trace that ends: a strip with a round end
        stub,   ///< a strip with a square end
        corner, ///< of a pour: a right angle
        disk,   ///< a land
    };
    Kind kind = Kind::strip;
    double x = 0, y = 0;  ///< a point of the axis; the centre of the round end; the centre
    double direction = 0; ///< of the axis, rad in (x, y down), away from the tip
    double half_px = 0;   ///< half width, or radius
    Eigen::Matrix4d covariance = Eigen::Matrix4d::Zero(); ///< of x, y, direction, half_px
    double chi2 = 0;                                      ///< per degree of freedom
    double cost = 0;                                      ///< chi-square
    double u_kind_px = 0; ///< spread of the nearest point between kinds that explain the pixels about as well

    /// Signed distance from a point, negative inside.
    [[nodiscard]] double distance(double px, double py) const;
    /// Radius at which the ray from the hole's centre enters, 0: it passes by. Looked for from `from_px`
    /// outward.
    [[nodiscard]] double along(Point direction, double from_px, double to_px) const;
    [[nodiscard]] Feature moved(int parameter, double by) const;
};

/// What a feature is fitted on: the rays it was seen on and where it seemed to begin and end.
struct FeatureSeen {
    int first_ray = 0, count = 0; ///< first_ray .. first_ray + count - 1
    std::array<double, rays> from_px{}, to_px{};
    std::array<double, rays> least_px{}, most_px{}; ///< pixels used, by ray
    double passes_px = 0; ///< so far beyond the ring's edge pixels may be used too, by what passes over it
};

/// The kind that explains the pixels best, or nothing when none does (chi-square per pixel over 1.5 or over
/// what five sigma allow) or too few pixels see it. `ring`: T without the feature.
std::optional<Feature> fit_feature(const Scene& scene, const RingExpectation& ring, const FeatureSeen& seen);

} // namespace ringwall::rings
