// SPDX-License-Identifier: Apache-2.0
// Rings drawn from geometry (draw.hpp); truth is the geometry itself.
#include "rings/draw.hpp"
#include "rings/rings.hpp"
#include "rings/step_fit.hpp"

#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <span>
#include <string>
#include <vector>

using namespace ringwall;
using drawn::Beam;

namespace {

constexpr int size_px = 150;
constexpr Point middle{75.3, 74.6};
constexpr double blur_px = 1.0, photons = 6000;

double radius(double x, double y) {
    return std::hypot(x - middle.x, y - middle.y);
}

/// Strip of half width `half` along direction `deg` from the middle, between two radii, its ends round.
bool on_trace(double x, double y, double deg, double half, double from_px, double to_px) {
    const double a = deg * std::numbers::pi / 180, c = std::cos(a), s = -std::sin(a);
    const double u = (x - middle.x) * c + (y - middle.y) * s, v = -(x - middle.x) * s + (y - middle.y) * c;
    const double over = u < from_px + half ? u - from_px - half : u > to_px - half ? u - to_px + half : 0;
    return std::hypot(over, v) < half;
}

KeepOut measured(const drawn::Board& board, Hole hole, const Beam& beam = {}, std::uint64_t seed = 1,
                 std::span<const Hole> neighbours = {}) {
    const TransmissionMap map =
        drawn::exposed(drawn::draw(board, beam, size_px, blur_px), blur_px, photons, seed);
    measure_ring(map, drawn::known_levels(beam, 2), hole, neighbours);
    return hole.keepout;
}

} // namespace

TEST_CASE("a plane's ring round a bare hole is measured to its uncertainty") {
    const KeepOut keepout = measured(
        [](double x, double y) {
            const double r = radius(x, y);
            return r < 30 ? drawn::air : r < 42 ? 0 : 1;
        },
        drawn::bare_hole(middle, 30));
    REQUIRE(keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(keepout.min_px.value() - 12) < 3 * keepout.min_px.u());
    CHECK(keepout.min_px.u() < 0.06);
}

TEST_CASE("noise on a board without copper is no copper") {
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        const KeepOut keepout =
            measured([](double x, double y) { return radius(x, y) < 25 ? drawn::air : 0; },
                     drawn::bare_hole(middle, 25), {}, seed);
        CAPTURE(seed);
        CAPTURE(keepout.why);
        CHECK(keepout.state == KeepOutState::none_in_view);
    }
}

TEST_CASE("a trace that ends in the ring is the nearest copper") {
    const KeepOut keepout = measured(
        [](double x, double y) {
            const double r = radius(x, y);
            if (r < 25) return drawn::air;
            return (r < 50 ? 0 : 1) + (on_trace(x, y, 40, 4, 36, 90) ? 1 : 0);
        },
        drawn::bare_hole(middle, 25));
    REQUIRE(keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(keepout.min_px.value() - 11) < 3 * keepout.min_px.u());
    CHECK(keepout.min_px.u() < 0.5);
    CHECK(std::abs(keepout.min_angle_deg - 40) < 8);
}

TEST_CASE("a spoke joins the hole to the plane; a trace of another layer only passes over it") {
    const auto board = [](bool spoke) {
        return [spoke](double x, double y) {
            const double r = radius(x, y);
            if (r < 23) return drawn::air;
            if (r < 25) return drawn::plating;
            const bool bridge = on_trace(x, y, 120, 5, 0, 90);
            if (r < 36) return 1;
            if (r < 50) return bridge ? 1 : 0;
            return bridge && !spoke ? 2 : 1;
        };
    };
    const Hole hole = drawn::plated_hole(middle, 25, 2);
    const KeepOut joined = measured(board(true), hole), passed = measured(board(false), hole);
    CHECK(joined.state == KeepOutState::runs_on);
    REQUIRE(joined.profile.size() == 360);
    CHECK(joined.profile[300].reason == GapReason::own); // the plane is own copper on all its rays
    REQUIRE(passed.state == KeepOutState::ring_seen);
    CHECK(std::abs(passed.min_px.value() - 25) < 3 * passed.min_px.u());
}

TEST_CASE("a via of the hole's own plane is no foreign copper; one that a clearance keeps apart from it is") {
    // The hole is joined to a plane all round and has a land to 52 px; another plane begins at 66 px. Vias
    // stand in the land, each with a land of its own on a third layer.
    const std::array<double, 4> at_deg{20, 110, 200, 290};
    std::vector<Hole> vias;
    for (const double deg : at_deg) {
        const double a = deg * std::numbers::pi / 180;
        vias.push_back(
            drawn::plated_hole({middle.x + 38 * std::cos(a), middle.y - 38 * std::sin(a)}, 5, 1.5));
    }
    const auto board = [&](std::size_t apart) {
        return [&, apart](double x, double y) {
            const double r = radius(x, y);
            if (r < 18) return drawn::air;
            if (r < 20) return drawn::plating;
            const int own = r < 52 ? 2 : 1, other = r < 66 ? 0 : 1;
            for (std::size_t k = 0; k < vias.size(); ++k) {
                const double d = std::hypot(x - vias[k].centre_px.x, y - vias[k].centre_px.y);
                if (d < 3.5) return drawn::air;
                if (d < 5) return drawn::plating;
                if (k == apart && d < 13) return d < 8 ? 4 : 0; // its own lands in the clearance
                if (d < 8) return own + 1;
            }
            return own + other;
        };
    };
    const Hole hole = drawn::plated_hole(middle, 20, 2);
    const KeepOut all_own = measured(board(9), hole, {}, 1, vias),
                  one_apart = measured(board(1), hole, {}, 1, vias);
    REQUIRE(all_own.state == KeepOutState::runs_on);
    REQUIRE(all_own.min_px.has_value());
    CHECK(std::abs(all_own.min_px.value() - 46) < 4 * all_own.min_px.u());
    for (const GapSample& sample : all_own.profile)
        if (sample.reason == GapReason::measured) CHECK(std::abs(sample.gap_px - 46) < 1);
    // Its land's near edge stands 38 - 8 px from the hole's middle, in the blur of its barrel.
    REQUIRE(one_apart.profile.size() == 360);
    CHECK(one_apart.profile[110].reason == GapReason::measured);
    CHECK(std::abs(one_apart.profile[110].gap_px - 10) < 2 * one_apart.profile[110].u_px);
    CHECK(one_apart.min_px.value_or(0) < 12);
}

TEST_CASE("own copper that leaves as a trace is no foreign copper beside itself") {
    const KeepOut keepout = measured(
        [](double x, double y) {
            const double r = radius(x, y);
            if (r < 18) return drawn::air;
            if (r < 20) return drawn::plating;
            return r < 30 || on_trace(x, y, 200, 5, 0, 120) ? 1 : 0;
        },
        drawn::plated_hole(middle, 20, 2));
    CHECK(keepout.state == KeepOutState::none_in_view);
}

TEST_CASE("a narrow ring corrects a bore and a centre that its copper misled") {
    Hole hole = drawn::bare_hole({middle.x + 0.06, middle.y - 0.05}, 30.05, 0.03);
    const KeepOut keepout = measured(
        [](double x, double y) {
            const double r = radius(x, y);
            return r < 30 ? drawn::air : r < 32 ? 0 : 1;
        },
        hole, Beam{.open = 1, .laminate = 0.73, .foil = 0.7});
    REQUIRE(keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(keepout.min_px.value() - 2) < 0.06);
}

TEST_CASE("the first of two planes is found where its foil is thin against the second") {
    // 1 foil at 40 px, 4 more at 46: levels in the picture begin with the five.
    const Beam beam;
    const auto board = [](double x, double y) {
        const double r = radius(x, y);
        return r < 30 ? drawn::air : r < 40 ? 0 : r < 46 ? 1 : 5;
    };
    TransmissionMap map = drawn::exposed(drawn::draw(board, beam, size_px, blur_px), blur_px, photons, 3);
    MaterialMap materials = drawn::known_levels(beam, 1);
    Hole hole = drawn::bare_hole(middle, 30);
    measure_ring(map, materials, hole, {});
    REQUIRE(hole.keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(hole.keepout.min_px.value() - 10) < 0.3);
}

TEST_CASE("more edges and harmonics than a fit has room for are refused") {
    rings::StepModel model;
    for (int k = 0; k < 4; ++k) {
        rings::Contour contour;
        contour.r50 = 20 + 4 * k;
        contour.order = rings::most_order;
        model.contours.push_back(contour);
    }
    model.level.assign(static_cast<std::size_t>(model.level_count()), 0.9);
    rings::StepPrior prior;
    prior.level = model.level;
    prior.level_u.assign(model.level.size(), 0.1);
    std::vector<rings::FitPixel> pixels(2000);
    CHECK(model.parameters() > 48);
    CHECK_FALSE(rings::fit_steps(model, prior, pixels, NoiseModel{}).ok);
}

namespace {

/// A display picture: the levels round the hole are not those the rest of the picture has.
KeepOut of_display(double picture_laminate, double picture_copper, double ring_px, double halo = 0) {
    const Beam beam{.open = 0.95, .laminate = 0.68, .foil = 0.55};
    const auto board = [ring_px](double x, double y) {
        const double r = radius(x, y);
        return r < 30 ? drawn::air : r < 30 + ring_px ? 0 : 1;
    };
    TransmissionMap map = drawn::exposed(drawn::draw(board, beam, size_px, 0.5), 0.5, 1500, 5);
    map.t_is_physical = false;
    map.halo = halo;
    MaterialMap materials = drawn::known_levels(beam, 1);
    materials.levels.laminate = Estimate::of(picture_laminate, 0.001);
    materials.levels.copper = {Estimate::of(picture_copper, 0.001)};
    Hole hole = drawn::bare_hole(middle, 30, 0.05);
    measure_ring(map, materials, hole, {});
    return hole.keepout;
}

} // namespace

TEST_CASE("where a tone curve moves the levels, the grey at a bare wall is laminate") {
    for (const auto& [laminate, copper] : {std::pair{0.806, 0.335}, {0.83, 0.57}, {0.68, 0.374}}) {
        const KeepOut keepout = of_display(laminate, copper, 5);
        CAPTURE(laminate);
        REQUIRE(keepout.state == KeepOutState::ring_seen);
        CHECK(std::abs(keepout.min_px.value() - 5) < 0.3);
    }
}

TEST_CASE("a grey between laminate and copper at the wall stays undecided") {
    const KeepOut keepout = of_display(0.93, 0.63, 5); // 0.68 is five sixths of the way to copper
    CHECK(keepout.state == KeepOutState::undecided);
    CHECK(keepout.why.find("tone curve") != std::string::npos);
}

TEST_CASE("copper within the halo of a sharpened picture stays undecided") {
    const KeepOut near = of_display(0.68, 0.374, 3, 0.15), far = of_display(0.68, 0.374, 9, 0.15);
    CHECK(near.state == KeepOutState::undecided);
    CHECK(near.why.find("sharpen") != std::string::npos);
    CHECK_FALSE(near.min_px);
    CHECK(far.state == KeepOutState::ring_seen);
}

TEST_CASE("where a trace bridges the ring and adds to the plane behind, no gap is stated: whose it is cannot "
          "be seen") {
    const KeepOut keepout = measured(
        [](double x, double y) {
            const double r = radius(x, y);
            if (r < 20) return drawn::air;
            if (r < 21.5) return drawn::plating;
            const int foils = (r < 32 || r > 46 ? 1 : 0) + (on_trace(x, y, 0, 4, 24, 90) ? 1 : 0);
            return foils;
        },
        drawn::plated_hole(middle, 21.5, 1.5));
    REQUIRE(keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(keepout.min_px.value() - 24.5) < 4 * keepout.min_px.u());
    REQUIRE(keepout.profile.size() == 360);
    CHECK(keepout.profile[0].reason == GapReason::merged);
    CHECK(keepout.profile[90].reason == GapReason::measured);
    CHECK(keepout.profile[180].reason == GapReason::measured);
}

TEST_CASE("no ring is stated for a hole that a part's body dims") {
    Hole hole = drawn::bare_hole(middle, 30);
    hole.cover = 0.86;
    const KeepOut keepout = measured(
        [](double x, double y) { return radius(x, y) < 30   ? drawn::air
                                        : radius(x, y) < 42 ? 0
                                                            : 1; }, hole);
    CHECK(keepout.state == KeepOutState::undecided);
    CHECK(!keepout.min_px);
    CHECK(!keepout.why.empty());
}

TEST_CASE("a corner far away is measured to its tip, though no ray of whole degrees meets it") {
    constexpr Point hole_at{40.3, 39.6};
    constexpr double away_px = 150;
    const double deg = 315.5 * std::numbers::pi / 180;
    const Point corner{hole_at.x + away_px * std::cos(deg), hole_at.y - away_px * std::sin(deg)};
    const auto board = [&](double x, double y) {
        if (std::hypot(x - hole_at.x, y - hole_at.y) < 20) return drawn::air;
        return x > corner.x && y > corner.y ? 1 : 0;
    };
    const Beam beam{.open = 1, .laminate = 0.9, .foil = 0.8};
    const TransmissionMap map = drawn::exposed(drawn::draw(board, beam, 190, blur_px), blur_px, photons, 2);
    Hole hole = drawn::bare_hole(hole_at, 20);
    measure_ring(map, drawn::known_levels(beam, 2), hole, {});
    REQUIRE(hole.keepout.state == KeepOutState::ring_seen);
    CHECK(std::abs(hole.keepout.min_px.value() - (away_px - 20)) < 3 * hole.keepout.min_px.u());
    CHECK(hole.keepout.min_px.u() < 0.2);
}

TEST_CASE("a large land across bare laminate is no straight edge") {
    constexpr Point hole_at{40.3, 39.6}, land_at{190.2, 70.7};
    const auto board = [&](double x, double y) {
        if (std::hypot(x - hole_at.x, y - hole_at.y) < 20) return drawn::air;
        return std::hypot(x - land_at.x, y - land_at.y) < 60 ? 1 : 0;
    };
    const Beam beam{.open = 1, .laminate = 0.93, .foil = 0.92};
    const double truth = std::hypot(land_at.x - hole_at.x, land_at.y - hole_at.y) - 60 - 20;
    const auto clean = drawn::draw(board, beam, 200, blur_px);
    double sum2 = 0;
    for (std::uint64_t seed = 1; seed <= 10; ++seed) {
        const TransmissionMap map = drawn::exposed(clean, blur_px, 1500, seed);
        Hole hole = drawn::bare_hole(hole_at, 20);
        measure_ring(map, drawn::known_levels(beam, 2), hole, {});
        CAPTURE(seed);
        REQUIRE(hole.keepout.state == KeepOutState::ring_seen);
        const double z = (hole.keepout.min_px.value() - truth) / hole.keepout.min_px.u();
        sum2 += z * z;
    }
    CHECK(sum2 < 23.2); // chi-square of 10, one in a hundred
}
