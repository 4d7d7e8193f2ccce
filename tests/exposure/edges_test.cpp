// SPDX-License-Identifier: Apache-2.0
#include "exposure/drawn.hpp"
#include "exposure/edges.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;
using namespace ringwall::exposure;

namespace {

/// Share of a pixel row's light beyond a slanted edge, blurred: exact for the edge's own direction.
Image<float> disks(double sigma, double dark, double photons, std::uint64_t seed, double sharpen) {
    Image<float> t(600, 600);
    drawn::Random random{seed};
    for (int y = 0; y < 600; ++y)
        for (int x = 0; x < 600; ++x) {
            const double cx = std::floor(x / 200.0) * 200 + 101.3, cy = std::floor(y / 200.0) * 200 + 99.1;
            const double d = 55.4 - std::hypot(x - cx, y - cy); // inside: open beam
            const auto edge = [&](double at, double s) { return 0.5 * std::erfc(-at / s / std::sqrt(2.0)); };
            double share = edge(d, sigma);
            if (sharpen > 0) share += sharpen * (share - edge(d, 3.0)); // unsharp mask
            double value = dark + (1 - dark) * share;
            if (photons > 0) value += std::sqrt(std::max(value, 0.0) / photons) * random.normal();
            t(x, y) = static_cast<float>(value);
        }
    return t;
}

} // namespace

TEST_CASE("the width of clean edges comes back within 1 %") {
    for (const double sigma : {0.85, 1.2, 1.6}) {
        const Image<float> t = disks(sigma, 0.7, 5000, 11, 0);
        NoiseModel noise;
        noise.photons = 5000;
        const EdgeFacts facts = measure_edges(t.view(), make_blocks(t.view()), noise, false);
        REQUIRE(facts.blur_sigma_px);
        CHECK(facts.blur_sigma_px.value() == doctest::Approx(sigma).epsilon(0.01));
        CHECK(facts.blur_sigma_px.u() < 0.012 * sigma);
        CHECK(facts.halo < 0.02);
    }
}

TEST_CASE("weak edges in strong noise are not taken for narrower ones") {
    double sum = 0;
    for (std::uint64_t seed = 21; seed < 29; ++seed) {
        const Image<float> t = disks(1.3, 0.93, 1500, seed, 0);
        NoiseModel noise;
        noise.photons = 1500;
        const EdgeFacts facts = measure_edges(t.view(), make_blocks(t.view()), noise, false);
        REQUIRE(facts.blur_sigma_px);
        sum += facts.blur_sigma_px.value() / 8;
        CHECK(std::abs(facts.blur_sigma_px.value() - 1.3) < 3.5 * facts.blur_sigma_px.u());
    }
    CHECK(sum == doctest::Approx(1.3).epsilon(0.04));
}

TEST_CASE("sharpened edges are told by their overshoot") {
    const Image<float> t = disks(1.2, 0.7, 5000, 12, 0.8);
    NoiseModel noise;
    noise.photons = 5000;
    const EdgeFacts facts = measure_edges(t.view(), make_blocks(t.view()), noise, false);
    // Built in: 0.8 (Phi(d/1.2) - Phi(d/3)) is 0.17 at d = 2 px.
    CHECK(facts.halo > 0.1);
    CHECK(facts.halo > 3 * facts.halo_u);
}

TEST_CASE("a picture without edges has no blur, and says so") {
    Image<float> t(200, 200);
    drawn::Random random{13};
    for (int y = 0; y < 200; ++y)
        for (int x = 0; x < 200; ++x)
            t(x, y) = static_cast<float>(1 + 0.01 * random.normal());
    NoiseModel noise;
    noise.photons = 10000;
    const EdgeFacts facts = measure_edges(t.view(), make_blocks(t.view()), noise, false);
    CHECK_FALSE(facts.blur_sigma_px);
    CHECK_FALSE(facts.blur_sigma_px.why().empty());
}
