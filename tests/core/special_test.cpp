// SPDX-License-Identifier: Apache-2.0
#include "core/arcs.hpp"
#include "core/circle_fit.hpp"
#include "core/special.hpp"

#include <array>
#include <cmath>
#include <doctest/doctest.h>
#include <numbers>
#include <vector>

using namespace ringwall;

TEST_CASE("normal distribution at the points of JCGM 106") {
    // JCGM 106:2012 Table 1, z for a one-sided conformance probability, printed to two decimals.
    for (const auto& [probability, z] :
         {std::pair{0.80, 0.84}, {0.90, 1.28}, {0.95, 1.64}, {0.99, 2.33}, {0.999, 3.09}})
        CHECK(std::abs(normal_cdf(z) - probability) < 0.005 * normal_density(z) + 1e-4);
    CHECK(normal_cdf(0) == 0.5);
    // erf(1) = 0.8427007929497149 (Abramowitz & Stegun Table 7.1, from memory).
    CHECK(2 * normal_cdf(std::numbers::sqrt2) - 1 == doctest::Approx(0.8427007929497149).epsilon(1e-14));
    CHECK(normal_density(0) == doctest::Approx(0.3989422804014327).epsilon(1e-15));
}

TEST_CASE("scaled Bessel functions against their power series") {
    // I0(x) = sum (x/2)^2k / k!^2, I1(x) = sum (x/2)^(2k+1) / (k! (k+1)!): the definition, summed here.
    for (const double x : {0.1, 1.0, 3.7, 3.8, 8.0, 20.0}) {
        double i0 = 0, i1 = 0, term = 1;
        for (int k = 0; k < 80; ++k) {
            i0 += term;
            i1 += term * (x / 2) / (k + 1);
            term *= (x / 2) * (x / 2) / ((k + 1.0) * (k + 1.0));
        }
        CAPTURE(x);
        // The header's promise.
        CHECK(std::abs(bessel_i0_scaled(x) / (i0 * std::exp(-x)) - 1) < 2e-7);
        CHECK(std::abs(bessel_i1_scaled(x) / (i1 * std::exp(-x)) - 1) < 2e-7);
    }
}

TEST_CASE("upper points of chi-square") {
    // NIST/SEMATECH e-Handbook 1.3.6.7.4, upper 5 % and 1 % points (from memory); 1 % is the header's
    // promise.
    CHECK(chi_square_upper(3, 0.05) == doctest::Approx(7.815).epsilon(0.01));
    CHECK(chi_square_upper(10, 0.05) == doctest::Approx(18.307).epsilon(0.01));
    CHECK(chi_square_upper(10, 0.01) == doctest::Approx(23.209).epsilon(0.01));
    CHECK(chi_square_upper(100, 0.05) == doctest::Approx(124.342).epsilon(0.01));
}

TEST_CASE("arcs of the turn from flags, over the zero too") {
    std::vector<bool> flags(36, false);
    CHECK(arcs_from_flags(flags).empty());
    flags[35] = flags[0] = flags[1] = flags[10] = true; // bins of 10 degrees
    CHECK(arcs_from_flags(flags) == std::vector<Arc>{{95, 105}, {345, 15}});
    CHECK(arcs_from_flags(std::vector<bool>(36, true)) == std::vector<Arc>{{0, 360}});
    CHECK(span_deg({345, 15}) == 30);
    CHECK(span_deg({0, 360}) == 360);
    CHECK(contains({345, 15}, 0));
    CHECK(contains({345, 15}, -15));
    CHECK_FALSE(contains({345, 15}, 16));
    CHECK_FALSE(contains({15, 345}, 0));
}

TEST_CASE("circle of the worked example of Gander, Golub and Strebel") {
    // BIT 34 (1994) 558: geometric fit (4.7398, 2.9835), 4.7142; residual norm 1.1079707 recomputed apart.
    // Algebraic fits lie 0.2 and more away (Taubin 4.6139, 2.7952, 4.8792; Kasa 4.7423, 3.8351, 4.1088).
    const std::array<Point, 6> points{{{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}}};
    const CircleFit fit = fit_circle(points);
    REQUIRE(fit.ok);
    CHECK(std::abs(fit.centre.x - 4.7398) < 1e-4); // the figures' last digit
    CHECK(std::abs(fit.centre.y - 2.9835) < 1e-4);
    CHECK(std::abs(fit.radius - 4.7142) < 1e-4);
    CHECK(std::abs(fit.rms * std::sqrt(6.0) - 1.1079707) < 1e-5);
}

TEST_CASE("circles of the worked examples of the least-squares cookbook of SciPy") {
    // SciPy Cookbook, "Least squares circle": both data sets, geometric solution.
    const std::array<Point, 6> round{{{9, 34}, {35, 10}, {-13, 6}, {10, -14}, {23, 27}, {0, -10}}};
    const std::array<Point, 6> arc{{{36, 14}, {36, 10}, {19, 28}, {18, 31}, {33, 18}, {26, 26}}};
    const CircleFit first = fit_circle(round), second = fit_circle(arc);
    REQUIRE(first.ok);
    REQUIRE(second.ok);
    CHECK(std::abs(first.centre.x - 10.50009) < 2e-5);
    CHECK(std::abs(first.centre.y - 9.65995) < 2e-5);
    CHECK(std::abs(first.radius - 23.33353) < 2e-5);
    CHECK(std::abs(second.centre.x - 9.88757) < 2e-5);
    CHECK(std::abs(second.centre.y - 3.68750) < 2e-5);
    CHECK(std::abs(second.radius - 27.35044) < 2e-5);
}

TEST_CASE("no circle through two points or a line") {
    CHECK_FALSE(fit_circle(std::array<Point, 2>{{{0, 0}, {1, 1}}}).ok);
    CHECK_FALSE(fit_circle(std::array<Point, 4>{{{0, 0}, {1, 1}, {2, 2}, {5, 5}}}).ok);
}

TEST_CASE("the robust fit leaves strangers out: a quarter spread over the turn, a sixth in one run") {
    // As far as it was measured to go, at 1 to 8 px beside a circle of 10 px; a fifth in one run draws it
    // away.
    for (const bool in_one_run : {false, true}) {
        std::vector<Point> points;
        for (int k = 0; k < 60; ++k) {
            const bool stranger = in_one_run ? k < 10 : k % 4 == 0;
            const double a = k * std::numbers::pi / 30, r = stranger ? 14 : 10;
            points.push_back({50 + r * std::cos(a), 40 + r * std::sin(a)});
        }
        const CircleFit fit = fit_circle_robust(points);
        REQUIRE(fit.ok);
        CHECK(std::abs(fit.radius - 10) < 1e-3);
        CHECK(std::hypot(fit.centre.x - 50, fit.centre.y - 40) < 1e-3);
        CHECK(fit_circle(points).radius > 10.5); // without weights it goes astray
    }
}
