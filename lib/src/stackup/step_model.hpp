// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/profile.hpp"

#include <Eigen/Dense>

#include <optional>
#include <vector>

namespace ringwall::stackup {

/// Transmission across the board as level steps under one Gaussian blur:
/// T(z) = level[0] + sum (level[j + 1] - level[j]) Phi((z - edge[j]) / sigma).
struct Steps {
    enum class Is { air, mask, laminate, copper };
    std::vector<double> edges;  ///< ascending
    std::vector<double> levels; ///< one more than edges
    std::vector<Is> is;         ///< of each level
    double sigma = 1;

    [[nodiscard]] double at(double z) const;
    /// Indices of the copper levels.
    [[nodiscard]] std::vector<int> copper() const;
};

struct StepPriors {
    double blur_px = 1, u_blur_px = 0.5;
    std::optional<double>
        foil_px; ///< width that copper is expected to show, where the profile leaves it open
    double u_foil_px = 1;
};

struct StepFit {
    Steps steps;
    Eigen::MatrixXd covariance; ///< of edges, then levels, then sigma; not yet times `misfit`
    double chi2 = 0;
    double misfit = 1; ///< chi2 by degrees of freedom, at least 1
};

/// Least squares (Levenberg and Marquardt) from a start, all edges, levels and the blur at once; edges keep
/// their order, copper lets through no less than nothing.
StepFit fit_steps(Steps start, const std::vector<Sample>& samples, const StepPriors& priors);

} // namespace ringwall::stackup
