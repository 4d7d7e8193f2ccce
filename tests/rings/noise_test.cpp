// SPDX-License-Identifier: Apache-2.0
// Copper at the limit of what noise lets be seen: what is told must be true, or left open. Rings drawn from
// geometry (draw.hpp); truth is the geometry itself.
#include "rings/draw.hpp"
#include "rings/rings.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <utility>

using namespace ringwall;
using drawn::Beam;

namespace {

constexpr Point middle{110.3, 109.6};
constexpr int size_px = 220;
constexpr double blur_px = 1.0;

double radius(double x, double y) {
    return std::hypot(x - middle.x, y - middle.y);
}

/// Strip of half width `half` along 0 degrees, from `from_px` to the picture's edge.
bool on_trace(double x, double y, double half, double from_px) {
    return std::abs(y - middle.y) < half && x - middle.x > from_px;
}

struct Drawing {
    Image<float> clean;
    MaterialMap levels;
    Hole hole;
};

KeepOut measured(const Drawing& drawing, double photons, std::uint64_t seed) {
    const TransmissionMap map = drawn::exposed(drawing.clean, blur_px, photons, seed);
    Hole hole = drawing.hole;
    measure_ring(map, drawing.levels, hole, {}, RingOptions{.seed = seed});
    return hole.keepout;
}

} // namespace

TEST_CASE("in a wide ring far from the hole's centre noise makes no island of copper") {
    // A foil of 2 % against noise of 1.8 % a pixel, 20 000 px of ring: twelve draws show what one board has.
    const Beam beam{.open = 1, .laminate = 0.93, .foil = 0.98};
    const auto board = [](double x, double y) {
        const double r = radius(x, y);
        return r < 60 ? drawn::air : r < 100 ? 0 : 2;
    };
    const Drawing drawing{drawn::draw(board, beam, size_px, blur_px), drawn::known_levels(beam, 2),
                          drawn::bare_hole(middle, 60)};
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const KeepOut keepout = measured(drawing, 3000, seed);
        CAPTURE(seed);
        REQUIRE(keepout.state == KeepOutState::ring_seen);
        CHECK(std::abs(keepout.min_px.value() - 40) < 4 * keepout.min_px.u());
        CHECK(keepout.min_px.u() < 0.3);
    }
}

TEST_CASE("noise beside a trace's end does not bring the copper to the wall") {
    const Beam beam{.open = 1, .laminate = 0.84, .foil = 0.964};
    const auto board = [](double x, double y) {
        const double r = radius(x, y);
        if (r < 60) return drawn::air;
        return (r < 95 ? 0 : 1) + (on_trace(x, y, 3, 68) ? 1 : 0);
    };
    const Drawing drawing{drawn::draw(board, beam, size_px, blur_px), drawn::known_levels(beam, 2),
                          drawn::bare_hole(middle, 60)};
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const KeepOut keepout = measured(drawing, 1900, seed);
        CAPTURE(seed);
        REQUIRE(keepout.state == KeepOutState::ring_seen);
        CHECK(std::abs(keepout.min_px.value() - 8) < 4 * keepout.min_px.u());
        CHECK(keepout.min_px.u() < 1.5);
    }
}

TEST_CASE("a land of one foil is own copper where all other copper lies two foils deep") {
    const Beam beam{.open = 1, .laminate = 0.849, .foil = 0.9745};
    const auto board = [](double x, double y) {
        const double r = radius(x, y);
        if (r < 45) return drawn::air;
        if (r < 47) return drawn::plating;
        return r < 56 ? 1 : r < 68 ? 0 : 2;
    };
    MaterialMap levels = drawn::known_levels(beam, 1);
    levels.levels.copper = {Estimate::of(beam.level(2), 1e-4)};
    const Drawing drawing{drawn::draw(board, beam, size_px, blur_px), std::move(levels),
                          drawn::plated_hole(middle, 47, 2)};
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        const KeepOut keepout = measured(drawing, 1350, seed);
        CAPTURE(seed);
        REQUIRE(keepout.state == KeepOutState::ring_seen);
        CHECK(std::abs(keepout.min_px.value() - 21) < 4 * keepout.min_px.u());
        CHECK(keepout.min_px.u() < 0.5);
    }
}

TEST_CASE("a trace of the hole's own that noise half hides is not stated as another's copper") {
    const Beam beam{.open = 1, .laminate = 0.957, .foil = 0.9878};
    const auto board = [](double x, double y) {
        const double r = radius(x, y);
        if (r < 72) return drawn::air;
        if (r < 74) return drawn::plating;
        const int trace = on_trace(x, y, 4, 74) ? 1 : 0;
        return (r < 80 ? 6 : r < 104 ? 0 : 4) + trace;
    };
    MaterialMap levels = drawn::known_levels(beam, 1);
    levels.levels.copper = {Estimate::of(beam.level(2), 1e-4), Estimate::of(beam.level(4), 1e-4)};
    const Drawing drawing{drawn::draw(board, beam, size_px, blur_px), std::move(levels),
                          drawn::plated_hole(middle, 74, 2)};
    int told = 0;
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const KeepOut keepout = measured(drawing, 2100, seed);
        CAPTURE(seed);
        CHECK((keepout.state != KeepOutState::undecided || !keepout.why.empty()));
        if (keepout.state != KeepOutState::ring_seen) continue;
        CHECK(std::abs(keepout.min_px.value() - 30) < 1);
        ++told;
    }
    CHECK(told > 10);
}
