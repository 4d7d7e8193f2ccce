// SPDX-License-Identifier: Apache-2.0
#include "rings/smallest.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall::rings;

namespace {

GapOfRay gap_of(int ray, double gap_px, double slope, bool smooth) {
    GapOfRay gap;
    gap.ray = ray;
    gap.gap_px = gap_px;
    gap.slope = Eigen::VectorXd::Constant(1, slope);
    gap.smooth = smooth;
    return gap;
}

} // namespace

TEST_CASE("the smallest gap may lie on any ray of a trace's end") {
    std::vector<GapOfRay> gaps;
    for (int i = 0; i < 360; ++i) {
        const bool tip = std::abs(i - 50) < 4; // steep sides: the next ray of every third is 0.5 px further
        gaps.push_back(gap_of(i, tip ? 10 + 0.5 * std::abs(i - 50) : 20, 1, !tip));
    }
    const Smallest smallest = smallest_gap(gaps, Eigen::MatrixXd::Constant(1, 1, 1e-6), 0.95, 400, 1);
    CHECK(smallest.ray == 50);
    CHECK(smallest.value_px == doctest::Approx(10).epsilon(0.001));
    CHECK(std::abs(smallest.bias_px) < 0.001);
}

TEST_CASE("the bias of the smallest of many noisy gaps is taken out") {
    // Smallest of 8 and 36 independent normal values: -1.42 and -2.12 in the mean (David & Nagaraja 2003,
    // Order Statistics, table 4.9.1: 1.4236, 2.1180).
    for (const auto& [n, expected] : {std::pair{8, 1.4236}, {36, 2.1180}}) {
        std::vector<GapOfRay> gaps;
        for (int i = 0; i < n; ++i) {
            gaps.push_back(gap_of(10 * i, 5, 0, false));
            gaps.back().u_own_px = 0.1;
        }
        const Smallest smallest = smallest_gap(gaps, Eigen::MatrixXd::Zero(1, 1), 0.95, 4000, 7);
        CAPTURE(n);
        CHECK(smallest.bias_px == doctest::Approx(-0.1 * expected).epsilon(0.03));
        CHECK(smallest.value_px == doctest::Approx(5 + 0.1 * expected).epsilon(0.002));
    }
}
