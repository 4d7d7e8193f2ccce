// SPDX-License-Identifier: Apache-2.0
#include "exposure/blocks.hpp"
#include "exposure/drawn.hpp"
#include "exposure/levels.hpp"
#include "exposure/noise.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::exposure;

TEST_CASE("a block's mean and variance are those of its 16 pixels") {
    Image<float> picture(9, 6); // one block and a half, one and a quarter: 2 x 1 whole blocks
    drawn::Random random{5};
    for (int y = 0; y < 6; ++y)
        for (int x = 0; x < 9; ++x)
            picture(x, y) = static_cast<float>(40000 + random.uniform(0, 100));
    const Blocks blocks = make_blocks(picture.view());
    REQUIRE(blocks.cols == 2);
    REQUIRE(blocks.rows == 1);
    double sum = 0, squares = 0;
    for (int y = 0; y < 4; ++y)
        for (int x = 4; x < 8; ++x)
            sum += picture(x, y);
    for (int y = 0; y < 4; ++y)
        for (int x = 4; x < 8; ++x)
            squares += std::pow(picture(x, y) - sum / 16, 2);
    CHECK(blocks.mean[1] == doctest::Approx(sum / 16).epsilon(1e-6));
    CHECK(blocks.variance[1] ==
          doctest::Approx(squares / 15).epsilon(1e-4)); // float sums of numbers near 100
}

TEST_CASE("flat spots leave out edges, and independent noise has correlation 1") {
    Image<float> picture(400, 400);
    drawn::Random random{6};
    for (int y = 0; y < 400; ++y)
        for (int x = 0; x < 400; ++x)
            picture(x, y) = static_cast<float>((x < 201 ? 100 : 140) + 5 * random.normal());
    const FlatSpots flat = find_flat_spots(make_blocks(picture.view()), 0, 1);
    CHECK(flat.correlation == doctest::Approx(1).epsilon(0.1));
    // F passes 95 % and the slope's chi-square 88 % of the places without an edge; 3 of 98 columns hold the
    // edge.
    CHECK(flat.spots.size() > 0.79 * 98 * 98);
    for (const FlatSpot& spot : flat.spots) {
        const int left = (spot.col - 1) * 4, right = (spot.col + 2) * 4;
        CHECK((right <= 201 || left >= 201 || 201 - left <= 1 ||
               right - 201 <= 1)); // a single column tells nothing
    }
}

TEST_CASE("the noise line comes back from spots with photon and readout noise") {
    drawn::Random random{7};
    std::vector<FlatSpot> spots;
    for (int i = 0; i < 4000; ++i) {
        FlatSpot spot;
        spot.mean = static_cast<float>(random.uniform(0.3, 1));
        double chi2 = 0;
        for (int k = 0; k < 135; ++k)
            chi2 += std::pow(random.normal(), 2);
        spot.variance = static_cast<float>((spot.mean / 3000 + 0.004 * 0.004) * chi2 / 135);
        if (i % 5 == 0) spot.variance *= static_cast<float>(random.uniform(1, 30)); // texture in one of five
        spots.push_back(spot);
    }
    const NoiseLine line = fit_noise(spots, 135);
    CHECK(line.slope == doctest::Approx(1 / 3000.0).epsilon(0.06));
    // Texture in a fifth of the spots lifts a median by a quarter of the spread at most: 3 % of the variance.
    CHECK(line.variance(0.6) == doctest::Approx(0.6 / 3000 + 1.6e-5).epsilon(0.04));
}

TEST_CASE("levels are found where they are, and noise makes none") {
    drawn::Random random{8};
    std::vector<LogSample> samples;
    const auto add = [&](double at, int n, double sigma) {
        for (int i = 0; i < n; ++i)
            samples.push_back({at + sigma * random.normal(), sigma});
    };
    add(0, 3000, 0.003);
    add(-0.050, 300, 0.003);
    add(-0.068, 5000, 0.003); // a foil six sigma from the laminate, and seventeen times as common
    add(-1.2, 40, 0.02);
    const std::vector<LogLevel> levels = find_levels(samples, 1e-4, 10);
    REQUIRE(levels.size() == 4);
    CHECK(levels[0].value == doctest::Approx(0).epsilon(0.0005));
    CHECK(std::abs(levels[1].value + 0.050) <
          0.0007); // three standard errors; its neighbour's tail pulls a little
    CHECK(std::abs(levels[2].value + 0.068) < 0.0003);
    CHECK(std::abs(levels[3].value + 1.2) < 0.012);
    CHECK(nearest_level(levels, -0.055) == 1);
    CHECK(nearest_level({}, 0) == -1);
}
