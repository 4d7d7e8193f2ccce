// SPDX-License-Identifier: Apache-2.0
#include "materials/open_border.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <random>

using namespace ringwall;

TEST_CASE(
    "the open beam's border is shared out rightly where one pixel's noise is as large as a foil's step") {
    // A board in open beam (levels of the faintest pictures: hard beam, thin board), a body over its upper
    // edge.
    constexpr int width = 500, height = 400;
    constexpr double body_p = 0.037, laminate_p = 0.058, foil_p = 0.070, noise = 0.012;
    std::mt19937 engine(77);
    std::normal_distribution<double> normal(0, noise);
    TransmissionMap map;
    map.t = Image<float>(width, height);
    map.blur_sigma_px = Estimate::of(1.0, 0.05);
    double of_body = 0, of_laminate = 0;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x) {
            const bool board = x >= 40 && x < 460 && y >= 60 && y < 360;
            const bool body = x >= 200 && x < 300 && y >= 30 && y < 150;
            const bool plane = x >= 60 && x < 440 && y >= 80 && y < 340;
            const double p =
                (board ? laminate_p : 0) + (plane ? foil_p - laminate_p : 0) + (body ? body_p : 0);
            map.t(x, y) = static_cast<float>(std::exp(-p) + normal(engine));
        }
    of_body = 100 + 2 * 30;                  // above the board's edge, and its two sides
    of_laminate = 2 * 300 + 420 + 420 - 100; // the board's outline without what the body covers
    std::vector<exposure::LogLevel> levels(3);
    levels[0].value = body_p, levels[1].value = laminate_p, levels[2].value = foil_p;
    const std::vector<double> shares = materials::shares_beside_open(map, levels);
    REQUIRE(shares.size() == 3);
    const double all = of_body + of_laminate;
    CHECK(std::abs(shares[0] - of_body / all) < 0.04);
    CHECK(shares[1] > 0.6 * of_laminate / all);
    CHECK(shares[0] < 0.25 * shares[1]); // clear enough to tell the body from the laminate
}
