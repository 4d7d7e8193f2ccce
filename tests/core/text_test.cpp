// SPDX-License-Identifier: Apache-2.0
#include "core/text.hpp"
#include "ringwall/estimate.hpp"

#include <doctest/doctest.h>

using namespace ringwall;

// Two significant digits of U and the value to the same place: GUM (JCGM 100:2008) 7.2.6.
TEST_CASE("a value's digits follow its expanded uncertainty") {
    CHECK(with_expanded_u(Estimate::of(2.535, 0.425), 3) == "2.54 ±0.85"); // 2.535 lies just above the half
    CHECK(with_expanded_u(Estimate::of(436.102, 22.2865), 3) == "436 ±45");
    CHECK(with_expanded_u(Estimate::of(436.102, 222.865), 3) == "440 ±450");
    CHECK(with_expanded_u(Estimate::of(3.302, 0.017), 3) == "3.302 ±0.034");
    CHECK(with_expanded_u(Estimate::of(1.0, 0.05), 3) == "1.00 ±0.10");
    CHECK(with_expanded_u(Estimate::of(1.0, 0.5), 3) == "1.0 ±1.0");
    CHECK(with_expanded_u(Estimate::of(1.0, 0.0498), 3) == "1.00 ±0.10"); // 0.0996 rounds up to 0.10
    CHECK(with_expanded_u(Estimate::of(1.0, 0.0046), 3) == "1.000 ±0.009");
}

TEST_CASE("never finer than asked for, and no U of nothing") {
    CHECK(with_expanded_u(Estimate::of(0.2314, 0.0006), 3) == "0.231 ±0.001");
    CHECK(with_expanded_u(Estimate::of(0.2314, 0.0001), 3) == "0.231 ±0.001");
    CHECK(with_expanded_u(Estimate::of(132.123, 0.0001), 2) == "132.12 ±0.01");
    CHECK(with_expanded_u(Estimate::of(0.2, 0), 3) == "0.200 ±0.001");
    CHECK(with_expanded_u(Estimate::of(-0.0004, 0.002), 3) == "0.000 ±0.004");
    CHECK(with_expanded_u(Estimate::missing("hidden"), 3).empty());
}

TEST_CASE("a number in an error line is short, and plain where that is short") {
    CHECK(brief(0.0005) == "0.0005");
    CHECK(brief(12500) == "12500");
    CHECK(brief(-0.0) == "0");
    CHECK(brief(1e300) == "1e+300");
    CHECK(brief(-1e-300) == "-1e-300");
    CHECK(brief(1.0 / 3).size() <= 18);
}
