// SPDX-License-Identifier: Apache-2.0
#include "phantom/random.hpp"

#include "ringwall/phantom.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <vector>

using namespace ringwall;
using namespace ringwall::phantom;

namespace {

struct Moments {
    double mean, variance;
};
template<typename Draw>
Moments moments(int n, Draw draw) {
    double sum = 0, squares = 0;
    for (int i = 0; i < n; ++i) {
        const double value = draw();
        sum += value;
        squares += value * value;
    }
    return {sum / n, squares / n - sum / n * (sum / n)};
}

Image<float> even(int size, float t) {
    Image<float> picture(size, size);
    for (int y = 0; y < size; ++y)
        for (int x = 0; x < size; ++x)
            picture(x, y) = t;
    return picture;
}

} // namespace

TEST_CASE("random numbers are the published generator's") {
    // SplitMix64 started at 0 gives this first (widely published test vector; from memory).
    CHECK(Random::mix(0x9e3779b97f4a7c15) == 0xe220a8397b1dcdaf);
    Random a(7, 3), b(7, 3), c(7, 4);
    CHECK(a.next() == b.next());
    CHECK(a.next() != c.next());
    const Moments uniform = moments(200000, [&] { return a.uniform(); });
    CHECK(uniform.mean == doctest::Approx(0.5).epsilon(0.005)); // 4 sigma of the mean: 0.0026
    CHECK(uniform.variance == doctest::Approx(1.0 / 12).epsilon(0.01));
    const Moments normal = moments(200000, [&] { return a.normal(); });
    CHECK(std::abs(normal.mean) < 0.01);
    CHECK(normal.variance == doctest::Approx(1).epsilon(0.015));
}

TEST_CASE("photon counts follow the exact Poisson distribution") {
    // Chi-square against exp(-m) m^k / k!; 99.99 % point of chi-square with nu degrees by Wilson and
    // Hilferty.
    for (const double mean : {0.4, 4.0, 9.9, 10.1, 37.0, 800.0}) {
        Random random(11, static_cast<std::uint64_t>(mean * 10));
        const int n = 200000;
        int whole = 0;
        const int low = static_cast<int>(mean - 4 * std::sqrt(mean)),
                  high = static_cast<int>(mean + 4 * std::sqrt(mean)) + 2;
        std::vector<double> seen(static_cast<std::size_t>(high + 2));
        for (int i = 0; i < n; ++i) {
            const double k = random.poisson(mean);
            whole += k == std::floor(k) && k >= 0;
            seen[static_cast<std::size_t>(std::min<double>(k, high + 1))] += 1;
        }
        CHECK(whole == n);
        double chi2 = 0;
        int bins = 0;
        for (int k = std::max(0, low); k <= high; ++k) {
            const double expected = n * std::exp(k * std::log(mean) - mean - std::lgamma(k + 1.0));
            if (expected < 10) continue;
            chi2 += (seen[static_cast<std::size_t>(k)] - expected) *
                    (seen[static_cast<std::size_t>(k)] - expected) / expected;
            ++bins;
        }
        const double nu = bins - 1,
                     limit = nu * std::pow(1 - 2 / (9 * nu) + 3.719 * std::sqrt(2 / (9 * nu)), 3);
        CAPTURE(mean);
        CHECK(bins > 3);
        CHECK(chi2 < limit);
    }
}

TEST_CASE("noise has the stated size") {
    Exposure exposure;
    exposure.photons = 2500;
    exposure.readout_sigma = 0.01;
    exposure.gain = 40000;
    exposure.offset = 500;
    const Image<std::uint16_t> picture = expose_drawn(even(400, 0.5F).view(), exposure);
    std::size_t i = 0;
    const Moments found = moments(160000, [&] { return (picture.data()[i++] - 500.0) / 40000; });
    CHECK(found.mean == doctest::Approx(0.5).epsilon(0.0005)); // 4 sigma of the mean: 0.00017
    // var T = T / photons + readout^2; a variance from 160000 values is sure to 0.35 % (k = 1).
    CHECK(found.variance == doctest::Approx(0.5 / 2500 + 1e-4).epsilon(0.015));
    // Neighbours are independent.
    double covariance = 0;
    for (int y = 0; y < 400; ++y)
        for (int x = 0; x + 1 < 400; ++x)
            covariance += (picture(x, y) - 20500.0) * (picture(x + 1, y) - 20500.0);
    CHECK(std::abs(covariance / (399 * 400) / (found.variance * 1.6e9)) < 0.01);
}

TEST_CASE("the same seed gives the same bits, another seed others") {
    Exposure exposure;
    const Image<float> flat = even(64, 0.7F);
    const auto a = expose_drawn(flat.view(), exposure), b = expose_drawn(flat.view(), exposure);
    exposure.seed = 2;
    const auto c = expose_drawn(flat.view(), exposure);
    CHECK(std::equal(a.data(), a.data() + a.size(), b.data()));
    CHECK_FALSE(std::equal(a.data(), a.data() + a.size(), c.data()));
}

TEST_CASE("heel, polarity, offset and clipping") {
    Exposure exposure;
    exposure.photons = 0;
    exposure.gain = 30000;
    exposure.offset = 1000;
    exposure.heel = 0.2;
    const Image<float> open = even(101, 1.0F);
    const auto right = expose_drawn(open.view(), exposure);
    CHECK(right(0, 50) == 31000);
    CHECK(right(100, 50) == 1000 + 24000);
    CHECK(right(50, 50) == std::round(1000 + 30000 * (1 - 0.2 * 0.375)));
    exposure.heel_angle_deg = 90; // falls upwards
    const auto up = expose_drawn(open.view(), exposure);
    CHECK(up(50, 100) == 31000);
    CHECK(up(50, 0) == 25000);
    exposure.dense_bright = true;
    CHECK(expose_drawn(open.view(), exposure)(50, 0) == 65535 - 25000);
    exposure.gain = 90000;
    CHECK(expose_drawn(open.view(), exposure)(50, 100) == 0);
    exposure.dense_bright = false;
    CHECK(expose_drawn(open.view(), exposure)(50, 100) == 65535);
}
