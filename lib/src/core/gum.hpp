// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace ringwall {

/// Variances and covariances of the inputs of a measurement; symmetric.
class Covariance {
  public:
    /// All zero.
    explicit Covariance(std::size_t inputs) : inputs_(inputs), values_(inputs * inputs) {}
    /// Independent inputs with these standard uncertainties.
    static Covariance independent(std::span<const double> u);

    [[nodiscard]] std::size_t inputs() const { return inputs_; }
    [[nodiscard]] double at(std::size_t i, std::size_t j) const { return values_[i * inputs_ + j]; }
    void set(std::size_t i, std::size_t j, double covariance);
    /// Correlates two inputs whose variances are set already, -1 <= r <= 1.
    void correlate(std::size_t i, std::size_t j, double r);

  private:
    std::size_t inputs_;
    std::vector<double> values_; ///< by rows
};

/// Covariance of the means of quantities that were read together, one series of equal length (>= 2) each
/// (JCGM 100:2008, 4.2.3 and 5.2.3).
Covariance covariance_of_means(std::span<const std::vector<double>> series);

/// Covariance of two results whose sensitivities (partial derivatives) to the inputs are given: sum over i, j
/// of a_i b_j u(i, j) (JCGM 100:2008, formula (13); for two results H.2). As many sensitivities as inputs.
double combined_covariance(std::span<const double> a, std::span<const double> b, const Covariance& inputs);
/// Standard uncertainty of one result: the root of its covariance with itself.
double combined_u(std::span<const double> sensitivities, const Covariance& inputs);

/// One contribution to a result: |sensitivity| times u, and the degrees of freedom behind that u (infinite
/// for limits that are certain).
struct Contribution {
    double u = 0;
    double dof = 0;
};
/// Welch-Satterthwaite: effective degrees of freedom of a sum of independent contributions (JCGM 100:2008,
/// G.4.1). Correlated ones must be put together before. Infinite when no contribution has finite dof.
double effective_dof(std::span<const Contribution> contributions);

/// A true value is N(value, u): chance that it lies above a limit, or between two (JCGM 106:2012, 7). u > 0.
double probability_above(double value, double u, double limit);
double probability_between(double value, double u, double low, double high);

/// Three outcomes, not two: a result near a limit is on neither side of it at the confidence asked for.
enum class SideOfLimit { above, below, undecided };
SideOfLimit side_of_limit(double value, double u, double limit, double confidence);

} // namespace ringwall
