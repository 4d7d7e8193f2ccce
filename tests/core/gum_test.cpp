// SPDX-License-Identifier: Apache-2.0
#include "core/gum.hpp"
#include "core/student.hpp"

#include <array>
#include <cmath>
#include <doctest/doctest.h>
#include <limits>
#include <vector>

using namespace ringwall;

// JCGM 100:2008 (GUM), annex H: data and results as printed there (from memory), the results recomputed with
// an independent program. Tolerances are half of the printed last digit unless said.

TEST_CASE("GUM H.1: end gauge, and its effective degrees of freedom") {
    // u of d from three independent parts, nm.
    const std::array<Contribution, 3> of_d{{{5.8, 24}, {3.9, 5}, {6.7, 8}}};
    const std::array<double, 3> parts{5.8, 3.9, 6.7}, ones{1, 1, 1};
    const double u_d = combined_u(ones, Covariance::independent(parts)), dof_d = effective_dof(of_d);
    CHECK(std::abs(u_d - 9.68) < 0.005);
    CHECK(std::abs(dof_d - 25.4) < 0.05); // 25.6 in the GUM, from rounded parts
    // l = ls + d - ls (dalpha theta + alpha_s dtheta); inputs ls, d, dalpha, dtheta.
    const double ls_nm = 50'000'623, theta = -0.1, alpha = 11.5e-6;
    const std::array<double, 4> sensitivity{1, 1, -ls_nm * theta, -ls_nm * alpha};
    const std::array<double, 4> u{25, u_d, 1e-6 / std::sqrt(3.0), 0.05 / std::sqrt(3.0)};
    const double combined = combined_u(sensitivity, Covariance::independent(u));
    CHECK(std::abs(combined - 31.66) < 0.005); // printed 32 nm
    const std::array<Contribution, 4> all{
        {{25, 18}, {u_d, dof_d}, {sensitivity[2] * u[2], 50}, {sensitivity[3] * u[3], 2}}};
    const double dof = effective_dof(all);
    CHECK(std::abs(dof - 16.75) < 0.005); // printed 16.7 and cut to 16
    CHECK(std::abs(student_quantile(0.995, std::floor(dof)) * 32 - 93) < 0.5);
    // H.1.7: with the second-order terms, products of uncertain factors, 34 nm.
    const double u_theta = std::hypot(0.2, 0.5 / std::sqrt(2.0)), u_alpha = 2e-6 / std::sqrt(3.0);
    const std::array<double, 3> with_second{combined, ls_nm * u[2] * u_theta, ls_nm * u_alpha * u[3]};
    CHECK(std::abs(with_second[1] - 11.7) < 0.25); // printed 11.9 and 1.7, from 0.58e-6 and 0.41 rounded up
    CHECK(std::abs(with_second[2] - 1.7) < 0.05);
    CHECK(std::abs(combined_u(ones, Covariance::independent(with_second)) - 34) < 0.5);
}

namespace {

struct Impedance { ///< R, X, Z with their sensitivities to V, I (A), phi
    std::array<double, 3> value;
    std::array<std::array<double, 3>, 3> by;
};

Impedance impedance(double v, double i, double phi) {
    const double z = v / i, r = z * std::cos(phi), x = z * std::sin(phi);
    return {{r, x, z}, {{{r / v, -r / i, -x}, {x / v, -x / i, r}, {1 / i, -z / i, 0}}}};
}

} // namespace

TEST_CASE("GUM H.2: resistance and reactance from readings taken together") {
    const std::vector<std::vector<double>> readings{
        {5.007, 4.994, 5.005, 4.990, 4.999},
        {19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3},
        {1.0456, 1.0438, 1.0468, 1.0428, 1.0433},
    };
    const Covariance means = covariance_of_means(readings);
    const auto r = [&](std::size_t i, std::size_t j) {
        return means.at(i, j) / std::sqrt(means.at(i, i) * means.at(j, j));
    };
    CHECK(std::abs(std::sqrt(means.at(0, 0)) - 0.0032) < 5e-5);
    CHECK(std::abs(std::sqrt(means.at(1, 1)) - 0.0095e-3) < 5e-8);
    CHECK(std::abs(std::sqrt(means.at(2, 2)) - 0.00075) < 5e-6);
    CHECK(std::abs(r(0, 1) + 0.36) < 0.005);
    CHECK(std::abs(r(0, 2) - 0.86) < 0.005);
    CHECK(std::abs(r(1, 2) + 0.65) < 0.005);
    const Impedance at = impedance(4.9990, 19.6610e-3, 1.04446);
    const std::array<double, 3> printed{127.732, 219.847, 254.260}, printed_u{0.071, 0.295, 0.236};
    for (std::size_t k = 0; k < 3; ++k) {
        CAPTURE(k);
        CHECK(std::abs(at.value[k] - printed[k]) < 0.0006);
        CHECK(std::abs(combined_u(at.by[k], means) - printed_u[k]) < 0.0006);
    }
    const auto correlation = [&](std::size_t a, std::size_t b) {
        return combined_covariance(at.by[a], at.by[b], means) / combined_u(at.by[a], means) /
               combined_u(at.by[b], means);
    };
    CHECK(std::abs(correlation(0, 1) + 0.588) < 0.0006);
    CHECK(std::abs(correlation(0, 2) + 0.485) < 0.0006);
    CHECK(std::abs(correlation(1, 2) - 0.993) < 0.0006);
}

TEST_CASE("GUM H.2 must not come out as it would without correlation") {
    const std::array<double, 3> u{0.0032, 0.0095e-3, 0.00075};
    const Impedance at = impedance(4.9990, 19.6610e-3, 1.04446);
    Covariance inputs = Covariance::independent(u);
    // What ignoring the correlation gives: 0.194 for R, 2.7 times too much; 0.201, 0.204.
    CHECK(std::abs(combined_u(at.by[0], inputs) - 0.194) < 0.0015); // from rounded u
    CHECK(std::abs(combined_u(at.by[1], inputs) - 0.201) < 0.0015);
    CHECK(std::abs(combined_u(at.by[2], inputs) - 0.204) < 0.0015);
    inputs.correlate(0, 1, -0.36);
    inputs.correlate(0, 2, 0.86);
    inputs.correlate(1, 2, -0.65);
    // With it, from the rounded summary: .0700, .2957, .2366.
    CHECK(std::abs(combined_u(at.by[0], inputs) - 0.0700) < 0.0006);
    CHECK(std::abs(combined_u(at.by[1], inputs) - 0.2957) < 0.0006);
    CHECK(std::abs(combined_u(at.by[2], inputs) - 0.2366) < 0.0006);
}

TEST_CASE("GUM H.3: calibration line of a thermometer, and a correction read off it") {
    const std::array<double, 11> t{21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                                   24.513, 25.002, 25.503, 26.010, 26.511};
    const std::array<double, 11> b{-.171, -.169, -.166, -.159, -.164, -.165,
                                   -.156, -.157, -.159, -.161, -.160};
    double sum = 0, squares = 0;
    for (const double at : t) {
        sum += at - 20;
        squares += (at - 20) * (at - 20);
    }
    // The line's two values are sums of the readings b: these weights are their sensitivities.
    const double d = 11 * squares - sum * sum;
    std::array<double, 11> of_y1{}, of_y2{};
    double y1 = 0, y2 = 0, rest = 0;
    for (std::size_t k = 0; k < 11; ++k) {
        of_y1[k] = (squares - sum * (t[k] - 20)) / d;
        of_y2[k] = (11 * (t[k] - 20) - sum) / d;
        y1 += of_y1[k] * b[k];
        y2 += of_y2[k] * b[k];
    }
    for (std::size_t k = 0; k < 11; ++k)
        rest += std::pow(b[k] - y1 - y2 * (t[k] - 20), 2);
    std::array<double, 11> u{};
    u.fill(std::sqrt(rest / 9));
    CHECK(std::abs(u[0] - 0.0035) < 5e-5);
    const Covariance readings = Covariance::independent(u);
    Covariance line(2);
    line.set(0, 0, combined_covariance(of_y1, of_y1, readings));
    line.set(1, 1, combined_covariance(of_y2, of_y2, readings));
    line.set(0, 1, combined_covariance(of_y1, of_y2, readings));
    CHECK(std::abs(y1 + 0.1712) < 5e-5);
    CHECK(std::abs(y2 - 0.00218) < 5e-6);
    CHECK(std::abs(std::sqrt(line.at(0, 0)) - 0.002878) < 1e-6);
    CHECK(std::abs(std::sqrt(line.at(1, 1)) - 0.000668) < 1e-6);
    CHECK(std::abs(line.at(1, 0) / std::sqrt(line.at(0, 0) * line.at(1, 1)) + 0.930) < 0.0006);
    const std::array<double, 2> at_30{1, 10};
    CHECK(std::abs(y1 + 10 * y2 + 0.1494) < 5e-5);
    CHECK(std::abs(combined_u(at_30, line) - 0.004139) < 1e-6);
    line.set(0, 1, 0);
    CHECK(std::abs(combined_u(at_30, line) - 0.0073) < 5e-5); // wrong: without the covariance
}

TEST_CASE("a common scale cancels in a ratio and adds in a sum") {
    const std::array<double, 2> u{0.3, 0.3};
    Covariance inputs = Covariance::independent(u);
    inputs.correlate(0, 1, 1);
    CHECK(combined_u(std::array<double, 2>{1, -1}, inputs) == 0);
    CHECK(std::abs(combined_u(std::array<double, 2>{1, 1}, inputs) - 0.6) < 1e-15);
    constexpr double inf = std::numeric_limits<double>::infinity();
    CHECK(effective_dof(std::array<Contribution, 2>{{{1, inf}, {2, inf}}}) == inf);
    CHECK(effective_dof(std::array<Contribution, 2>{{{1, inf}, {0, 3}}}) == inf);
}

TEST_CASE("conformance probabilities of JCGM 106") {
    // Zener diode, burst pressure, oil viscosity: examples attributed to JCGM 106:2012 from memory,
    // arithmetic recomputed.
    CHECK(std::abs(1 - probability_above(-5.47, 0.05, -5.40) - 0.919) < 0.0005);
    CHECK(std::abs(probability_above(509.7, 8.6, 490) - 0.989) < 0.0005);
    CHECK(std::abs(probability_between(13.6, 1.8, 12.5, 16.3) - 0.663) < 0.0005);
}

TEST_CASE("three outcomes, not two") {
    // Own worked case: limit 0.50 mm, u 0.05 mm, 95 %.
    const auto side = [](double y) { return side_of_limit(y, 0.05, 0.50, 0.95); };
    CHECK(std::abs(probability_above(0.60, 0.05, 0.50) - 0.9772) < 5e-5);
    CHECK(std::abs(probability_above(0.58, 0.05, 0.50) - 0.9452) < 5e-5);
    CHECK(std::abs(probability_above(0.42, 0.05, 0.50) - 0.0548) < 5e-5);
    CHECK(side(0.60) == SideOfLimit::above);
    CHECK(side(0.58) == SideOfLimit::undecided);
    CHECK(side(0.55) == SideOfLimit::undecided);
    CHECK(side(0.50) == SideOfLimit::undecided);
    CHECK(side(0.42) == SideOfLimit::undecided);   // not shown to be below either
    CHECK(side(0.4178) == SideOfLimit::undecided); // 0.50 - 1.6449 * 0.05 = 0.41776
    CHECK(side(0.4177) == SideOfLimit::below);
}
