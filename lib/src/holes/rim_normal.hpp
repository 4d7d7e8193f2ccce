// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/rim_prediction.hpp"

#include <Eigen/Core>

#include <array>
#include <vector>

namespace ringwall {

/// Normal equations of chi-square/2. A sector's own parameters meet those of no other sector: one corner for
/// what is common (hole, then the shared two) and a small block a sector.
struct RimNormal {
    struct Sector {
        Eigen::Matrix<double, per_sector, per_sector> a =
            Eigen::Matrix<double, per_sector, per_sector>::Zero();
        Eigen::Matrix<double, per_sector, rim_common> with_common =
            Eigen::Matrix<double, per_sector, rim_common>::Zero();
        Eigen::Matrix<double, per_sector, 1> g = Eigen::Matrix<double, per_sector, 1>::Zero();
    };
    Eigen::Matrix<double, rim_common, rim_common> a = Eigen::Matrix<double, rim_common, rim_common>::Zero();
    Eigen::Matrix<double, rim_common, 1> g = Eigen::Matrix<double, rim_common, 1>::Zero();
    std::vector<Sector> sectors;
    double chi2 = 0;

    /// Adds the pixels of a run that `prediction` has filled. `t` and `inverse_sigma`: of its first pixel.
    void add(const RimModel& model, int sector, const double* t, const double* inverse_sigma, RimRun& run);
    /// What was known before: expected value and standard deviation (0 or less: nothing).
    void add_beliefs(const RimModel& model, const RimBelief& belief);
};

/// Which parameters are fitted; the others stay where they are.
struct RimFitted {
    std::array<bool, rim_own> own{};
    std::vector<std::array<bool, per_sector>> sectors;
    explicit RimFitted(const RimModel& model);
    [[nodiscard]] int count() const;
};

/// The common corner once the sectors' parameters have followed it (Schur's complement); rows of what is not
/// fitted are those of a unit matrix.
class RimReduced {
  public:
    /// `damping`: share by which the diagonals of fitted parameters are raised.
    RimReduced(const RimNormal& normal, const RimFitted& fitted, double damping);

    Eigen::Matrix<double, rim_common, rim_common> a;
    Eigen::Matrix<double, rim_common, 1> g;
    struct Step {
        Eigen::Matrix<double, rim_own, 1> own;
        std::vector<Eigen::Matrix<double, per_sector, 1>> sectors;
    };
    [[nodiscard]] Step solve() const;

  private:
    struct Follower {
        Eigen::Matrix<double, per_sector, rim_common> by_common; ///< negative change a unit of each
        Eigen::Matrix<double, per_sector, 1> alone;              ///< step when nothing common moves
    };
    std::vector<Follower> followers_;
};

} // namespace ringwall
