// SPDX-License-Identifier: Apache-2.0
#include "core/statistics.hpp"
#include "core/text.hpp"

#include <cmath>
#include <doctest/doctest.h>

using namespace ringwall;

TEST_CASE("normal quantiles of printed tables") {
    // NIST/SEMATECH e-Handbook 1.3.6.7.1 (from memory): z(0.95) 1.645, z(0.975) 1.960, z(0.995) 2.576; 15
    // digits from R qnorm.
    CHECK(normal_quantile(0.95) == doctest::Approx(1.6448536269514722).epsilon(1e-13));
    CHECK(normal_quantile(0.975) == doctest::Approx(1.959963984540054).epsilon(1e-13));
    CHECK(normal_quantile(0.5) == doctest::Approx(0).epsilon(1e-13));
    CHECK(normal_quantile(0.001) == doctest::Approx(-3.090232306167813).epsilon(1e-12));
    CHECK(normal_quantile(0.25) == -normal_quantile(0.75));
}

TEST_CASE("numbers as text") {
    CHECK(shortest(0.1) == "0.1");
    CHECK(shortest(-0.0) == "0");
    CHECK(shortest(132) == "132");
    CHECK(fixed(-0.001, 2) == "0.00");
    CHECK(fixed(2.345, 1) == "2.3");
    CHECK(rounded(0.0123456, 3) == 0.0123);
}
