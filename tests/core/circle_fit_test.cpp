// SPDX-License-Identifier: Apache-2.0
#include "core/circle_fit.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

using namespace ringwall;

TEST_CASE("geometric circle fit of Gander, Golub and Strebel's points (BIT 34 (1994) 558)") {
    const std::vector<Point> points{{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}};
    const CircleFit fit = fit_circle(points);
    REQUIRE(fit.ok);
    CHECK(fit.centre.x == doctest::Approx(4.7398).epsilon(2e-5));
    CHECK(fit.centre.y == doctest::Approx(2.9835).epsilon(3e-5));
    CHECK(fit.radius == doctest::Approx(4.7142).epsilon(2e-5));
    CHECK(fit.rms * std::sqrt(6.0) == doctest::Approx(1.1079707).epsilon(1e-6)); // norm of the residual
}

TEST_CASE("geometric circle fits of the SciPy cookbook's two sets of points (least squares circle)") {
    const std::vector<Point> ring{{9, 34}, {35, 10}, {-13, 6}, {10, -14}, {23, 27}, {0, -10}};
    const CircleFit whole = fit_circle(ring);
    CHECK(whole.centre.x == doctest::Approx(10.50009).epsilon(1e-6));
    CHECK(whole.centre.y == doctest::Approx(9.65995).epsilon(1e-6));
    CHECK(whole.radius == doctest::Approx(23.33353).epsilon(1e-6));
    const std::vector<Point> arc{{36, 14}, {36, 10}, {19, 28}, {18, 31}, {33, 18}, {26, 26}};
    const CircleFit part = fit_circle(arc);
    CHECK(part.centre.x == doctest::Approx(9.88757).epsilon(1e-5));
    CHECK(part.centre.y == doctest::Approx(3.68750).epsilon(1e-5));
    CHECK(part.radius == doctest::Approx(27.35044).epsilon(1e-5));
}

TEST_CASE("no circle through two points or through a line") {
    CHECK_FALSE(fit_circle(std::vector<Point>{{0, 0}, {1, 1}}).ok);
    CHECK_FALSE(fit_circle(std::vector<Point>{{0, 0}, {1, 1}, {2, 2}, {3, 3}}).ok);
}
