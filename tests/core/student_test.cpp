// SPDX-License-Identifier: Apache-2.0
#include "core/special.hpp"
#include "core/statistics.hpp"
#include "core/student.hpp"

#include <array>
#include <cmath>
#include <doctest/doctest.h>
#include <limits>
#include <numbers>
#include <vector>

using namespace ringwall;

namespace {

/// R's data set `sleep`: "Student" (W. S. Gosset), Biometrika 6 (1908) 1; values from memory, the results
/// below recomputed with R's method in SciPy.
constexpr std::array<double, 10> drug_a{0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0};
constexpr std::array<double, 10> drug_b{1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4};

} // namespace

TEST_CASE("Student's t of printed tables") {
    // JCGM 100:2008 (GUM) Table G.2, 95 %, 95.45 % and 99 % two-sided, as printed: half of the last digit.
    constexpr double inf = std::numeric_limits<double>::infinity();
    const std::array<std::array<double, 3>, 13> half{{{1, 12.706, 13.97},
                                                      {2, 4.303, 4.53},
                                                      {3, 3.182, 3.31},
                                                      {4, 2.776, 2.87},
                                                      {5, 2.571, 2.65},
                                                      {6, 2.447, 2.52},
                                                      {7, 2.365, 2.43},
                                                      {8, 2.306, 2.37},
                                                      {9, 2.262, 2.32},
                                                      {10, 2.228, 2.28},
                                                      {16, 2.120, 2.17},
                                                      {20, 2.086, 2.13},
                                                      {50, 2.009, 2.05}}};
    for (const auto& [dof, t95, t9545] : half) {
        CAPTURE(dof);
        CHECK(std::abs(student_quantile(0.975, dof) - t95) <= 0.00051);
        CHECK(std::abs(student_quantile(0.5 + 0.9545 / 2, dof) - t9545) <= 0.0051);
    }
    for (const auto& [dof, t99] : {std::pair{1.0, 63.657},
                                   {2.0, 9.925},
                                   {3.0, 5.841},
                                   {4.0, 4.604},
                                   {5.0, 4.032},
                                   {9.0, 3.250},
                                   {16.0, 2.921},
                                   {30.0, 2.750}})
        CHECK(std::abs(student_quantile(0.995, dof) - t99) <= 0.00051);
    for (const auto& [dof, t] : {std::pair{1.0, 6.314},
                                 {2.0, 2.920},
                                 {3.0, 2.353},
                                 {4.0, 2.132},
                                 {5.0, 2.015},
                                 {9.0, 1.833},
                                 {30.0, 1.697},
                                 {inf, 1.645}})
        CHECK(std::abs(student_quantile(0.95, dof) - t) <= 0.00051);
}

TEST_CASE("Student's t where it has a closed form") {
    // 1 degree of freedom: Cauchy, P = 1/2 + atan(t)/pi; 2: P = 1/2 + t / (2 sqrt(2 + t^2)); 4: the
    // polynomial P = 1/2 + 3/8 w (1 - w^2/12), w = t / sqrt(1 + t^2/4). All three by integrating the density.
    for (const double t : {-40.0, -3.0, -1e-4, 0.0, 1e-9, 0.3, 1.0, 2.5, 12.0, 1e4}) {
        CAPTURE(t);
        CHECK(std::abs(student_cdf(t, 1) - (0.5 + std::atan(t) / std::numbers::pi)) < 1e-12);
        CHECK(std::abs(student_cdf(t, 2) - (0.5 + t / (2 * std::sqrt(2 + t * t)))) < 1e-12);
        const double w = t / std::sqrt(1 + t * t / 4);
        CHECK(std::abs(student_cdf(t, 4) - (0.5 + 0.375 * w * (1 - w * w / 12))) < 1e-12);
    }
    for (const double p : {1e-9, 0.001, 0.2, 0.4999999, 0.6, 0.999999}) {
        const double cauchy = -1 / std::tan(std::numbers::pi * p); // tan(pi (p - 1/2)) would lose small p
        const double two = (2 * p - 1) / std::sqrt(2 * p * (1 - p));
        CAPTURE(p);
        // 1 - p has lost some of its digits already: relative 1e-16 / 1e-6.
        CHECK(std::abs(student_quantile(p, 1) / cauchy - 1) < 1e-8);
        CHECK(std::abs(student_quantile(p, 2) / two - 1) < 1e-8);
    }
}

TEST_CASE("Student's t comes back through its own quantile, and joins the normal") {
    for (const double dof : {0.7, 1.0, 2.5, 17.776, 300.0, 9e5, 2e6})
        for (const double p : {0.003, 0.3, 0.7, 0.95, 0.9999}) {
            CAPTURE(dof);
            CAPTURE(p);
            CHECK(std::abs(student_cdf(student_quantile(p, dof), dof) - p) < 1e-9);
        }
    // Both sides of the change of method: the true step over 2 degrees of freedom is (z^3 + z) / 4 * 2e-12.
    const double below = 1e6 - 1, above = 1e6 + 1;
    CHECK(std::abs(student_quantile(0.975, below) - student_quantile(0.975, above)) < 2e-9);
    CHECK(std::abs(student_cdf(1.7, below) - student_cdf(1.7, above)) < 2e-9);
    CHECK(student_quantile(0.975, std::numeric_limits<double>::infinity()) == normal_quantile(0.975));
    CHECK(student_cdf(1, std::numeric_limits<double>::infinity()) == normal_cdf(1));
}

TEST_CASE("incomplete beta where it is a polynomial") {
    // Whole a and b: I_x(a, b) is the chance of at least a successes in a + b - 1 trials (DLMF 8.17.5, from
    // memory). 1e-13: three log-gammas of up to 13 (at the shift to 10), rounded at 2e-15 each, and their
    // terms.
    for (const double x : {0.001, 0.2, 0.5, 0.9}) {
        const double y = 1 - x;
        CAPTURE(x);
        CHECK(std::abs(incomplete_beta(3, 2, x, y) - (4 * x * x * x * y + x * x * x * x)) < 1e-13);
        CHECK(std::abs(incomplete_beta(1, 5, x, y) - (1 - std::pow(y, 5))) < 1e-13);
        CHECK(std::abs(beta_quantile(3, 2, incomplete_beta(3, 2, x, y)) - x) < 1e-12);
    }
    CHECK(incomplete_beta(2, 3, 0, 1) == 0);
    CHECK(incomplete_beta(2, 3, 1, 0) == 1);
    CHECK(std::abs(incomplete_beta(4e5, 4e5, 0.5, 0.5) - 0.5) < 1e-9); // symmetric, so exactly a half
}

TEST_CASE("variance of the hardest sums of NIST StRD") {
    // NIST StRD, univariate NumAcc1 to NumAcc4 (from memory; generated by their own rule): certified mean and
    // standard deviation. 1 part in 1e8: what 10000000.2 keeps of its .2 in double precision, times sqrt(n).
    const std::array<double, 3> first{10000001, 10000003, 10000002};
    CHECK(mean_variance(first).mean == 10000002);
    CHECK(mean_variance(first).variance == 1);
    for (const double base : {1.0, 1000000.0, 10000000.0}) {
        std::vector<double> values{base + 0.2};
        for (int i = 0; i < 500; ++i) {
            values.push_back(base + 0.1);
            values.push_back(base + 0.3);
        }
        const MeanVariance result = mean_variance(values);
        CAPTURE(base);
        CHECK(result.n == 1001);
        CHECK(std::abs(result.mean - (base + 0.2)) < 1e-14 * base);
        CHECK(std::abs(std::sqrt(result.variance) - 0.1) < (base > 2 ? 2e-9 : 1e-14));
    }
    CHECK(mean_variance(std::array<double, 1>{3}).variance == 0);
}

TEST_CASE("two lots: Welch's test of the sleep data") {
    const MeanTest test = welch_test(drug_a, drug_b, 0.95);
    REQUIRE(test.difference);
    CHECK(std::abs(test.difference.value() + 1.58) < 1e-12);
    CHECK(std::abs(test.t + 1.8608) < 5e-5); // the printed last digits
    CHECK(std::abs(test.dof - 17.776) < 5e-4);
    CHECK(std::abs(test.p_two_sided - 0.07939) < 5e-6);
    CHECK(std::abs(test.low + 3.3655) < 5e-5);
    CHECK(std::abs(test.high - 0.2055) < 5e-5);
}

TEST_CASE("the same units twice: the paired test of the sleep data decides where Welch's does not") {
    const MeanTest test = paired_test(drug_a, drug_b, 0.95);
    REQUIRE(test.difference);
    CHECK(std::abs(test.t + 4.0621) < 5e-5);
    CHECK(test.dof == 9);
    CHECK(std::abs(test.p_two_sided - 0.002833) < 5e-7);
    CHECK(test.high < 0);
    CHECK(welch_test(drug_a, drug_b, 0.95).high > 0);
}

TEST_CASE("no test without scatter, and it says why") {
    const std::array<double, 1> one{1};
    const std::array<double, 2> two{1, 2};
    const std::array<double, 3> same{2, 2, 2};
    for (const MeanTest& test :
         {welch_test(one, two, 0.95), welch_test(same, same, 0.95), paired_test(one, one, 0.95),
          paired_test(two, same, 0.95), paired_test(same, same, 0.95)}) {
        CHECK_FALSE(test.difference);
        CHECK_FALSE(test.difference.why().empty());
    }
    CHECK(welch_test(two, same, 0.95).difference); // one side's scatter is enough
}
