// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"

#include <span>

namespace ringwall {

/// Regularised incomplete beta function I_x(a, b), a and b > 0, 0 <= x <= 1, `rest` = 1 - x as exactly as the
/// caller has it (near x = 1 the difference would lose it). Relative error below 1e-9 for a + b up to 1e6.
/// The continued fraction is NIST DLMF 8.17.22, summed by the method of Lentz (Applied Optics 15 (1976) 668)
/// as Thompson & Barnett changed it; all three from memory.
double incomplete_beta(double a, double b, double x, double rest);
/// x with I_x(a, b) = probability; 0 and 1 give 0 and 1.
double beta_quantile(double a, double b, double probability);

/// P(T <= t) for Student's t with `dof` > 0 degrees of freedom (need not be whole; infinite: the normal),
/// error below 1e-9. Above 1e6 degrees of freedom by Abramowitz & Stegun 26.7.8 (from memory).
double student_cdf(double t, double dof);
/// t with P(T <= t) = probability, 0 < probability < 1; relative error below 1e-8. Above 1e6 degrees of
/// freedom by the first term of Abramowitz & Stegun 26.7.5 (from memory).
double student_quantile(double probability, double dof);

/// Difference of two means with Student's t.
struct MeanTest {
    Estimate difference; ///< first minus second; u = its standard error; missing: why no test can be made
    // Meaningful only with a difference:
    double t = 0, dof = 0;
    double p_two_sided = 1;   ///< chance of a |t| this large were the true means equal
    double low = 0, high = 0; ///< two-sided interval of the difference at the confidence asked for
};
/// Two samples whose variances may differ (B. L. Welch, Biometrika 34 (1947) 28, from memory), each of at
/// least two independent values: two lots of units, for instance.
MeanTest welch_test(std::span<const double> first, std::span<const double> second, double confidence);
/// The same units measured twice: first[i] and second[i] belong together. On such data Welch's test loses
/// what the units have in common, and on unpaired data this one invents it: the caller must know which they
/// are.
MeanTest paired_test(std::span<const double> first, std::span<const double> second, double confidence);

} // namespace ringwall
