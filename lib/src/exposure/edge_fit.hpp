// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"
#include "ringwall/transmission.hpp"

#include <Eigen/Core>

namespace ringwall::exposure {

/// One edge between two even materials, in a window round a point on it. With n the coordinate along
/// `normal_rad` (from +x towards +y, picture axes) and t across it, both from the point: d = n - offset -
/// curvature t^2 / 2 and T = dark + step Phi(d / s). The bright side lies where d > 0.
struct Edge {
    Point at_px;
    double normal_rad = 0;
    double offset_px = 0;
    double curvature_per_px = 0;
    double dark = 0;
    double step = 0;
    double sigma_px = 1;          ///< s
    double sigma_u_px = 0;        ///< of s, when fitted alone
    double chi2 = 0;              ///< a pixel, against the noise model
    double relative_residual = 0; ///< RMS over the step
    bool usable = false;
};

inline constexpr int edge_half_length_px = 9; ///< window along the normal
inline constexpr int edge_half_width_px = 6;  ///< and across

/// Finds the place of the edge along the normal from averaged differences and sets the start values.
/// False when the window leaves the picture or holds no step over 4 sigma.
bool start_edge(ImageView<const float> t, const NoiseModel& noise, Edge& edge);

/// Normal equations of one edge about its present values. Order: dark, step, offset, normal, curvature, s.
struct EdgeEquations {
    Eigen::Matrix<double, 6, 6> matrix = Eigen::Matrix<double, 6, 6>::Zero();
    Eigen::Matrix<double, 6, 1> right = Eigen::Matrix<double, 6, 1>::Zero();
    double chi2 = 0;
    double squares = 0; ///< of the residuals, unweighted
    double pixels = 0;
};
EdgeEquations linearise(ImageView<const float> t, const NoiseModel& noise, const Edge& edge);

/// Levenberg-Marquardt on all six values. Sets usable, chi2, sigma_u_px.
void fit_edge(ImageView<const float> t, const NoiseModel& noise, Edge& edge);

/// How many sigmas of a bump on the dark side, one width from the edge, the fitted edge leaves over: below 0
/// a barrel's wall lies there, above 0 a narrow ring of something brighter before the dark.
double second_step_sigmas(ImageView<const float> t, const NoiseModel& noise, const Edge& edge);

/// Adds a step to the edge's values (s left alone when `hold_sigma`).
void move_edge(Edge& edge, const Eigen::Matrix<double, 6, 1>& by, bool hold_sigma);

} // namespace ringwall::exposure
