// SPDX-License-Identifier: Apache-2.0
#include "phantom/edge_column.hpp"
#include "ringwall/edge_phantom.hpp"
#include "ringwall/error.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>

using namespace ringwall;
using namespace ringwall::phantom;

namespace {

/// 10 mm long, 8 mm deep, in the middle of its field.
Board slab(double thickness_mm) {
    Board board;
    board.width_mm = 14, board.height_mm = 12;
    board.outline = rectangle(2, 2, 12, 10);
    board.thickness_mm = thickness_mm;
    return board;
}

Substance next_to_nothing() {
    Substance substance = glass_epoxy();
    substance.density_g_cm3 = 1e-9;
    return substance;
}

double copper_mm(double t, double kev) {
    return -std::log(t) / (linear_attenuation_per_cm(copper(), kev) / 10);
}

/// Copper through and through, so that its shadow has sharp edges: one layer as thick as the board.
Board copper_slab(double thickness_mm) {
    Board board = slab(thickness_mm);
    board.layers = {{thickness_mm * 1000, false, {{rectangle(2, 2, 12, 10), true}}}};
    return board;
}

Exposure sharp(double pixel_mm) {
    Exposure exposure;
    exposure.pixel_mm = pixel_mm;
    exposure.photons = 0;
    return exposure;
}

/// Shadow of something opaque along one column, px.
double shadow_px(const Image<float>& picture, int x) {
    double sum = 0;
    for (int y = 0; y < picture.height(); ++y)
        sum += 1 - picture(x, y);
    return sum;
}

} // namespace

TEST_CASE("barrel seen from the side: chords of a tube") {
    // L(x) = 2 [sqrt((R+w)^2 - x^2) - sqrt(R^2 - x^2)]: the chord of a circle, twice. Its largest value
    // stands at x = R: 2 sqrt(2 R w + w^2); in the middle 2 w. Bore 0.30 and 3.20 mm, wall 25 um: 0.1803 and
    // 0.5679 mm.
    const double kev = 60;
    for (const auto& [bore, largest] : {std::pair{0.30, 0.1803}, std::pair{3.20, 0.5679}}) {
        Board board = slab(1.6);
        board.laminate = next_to_nothing();
        Drill drill;
        drill.centre_mm = {7, 6}, drill.drill_mm = bore + 0.05, drill.plating_um = 25;
        board.drills = {drill};
        EdgeColumn column(board, {}, single_energy_beam(kev));
        column.take(bore / 2);
        CHECK(copper_mm(column.transmission(0), kev) == doctest::Approx(largest).epsilon(0.0005));
        column.take(0);
        CHECK(copper_mm(column.transmission(0), kev) == doctest::Approx(0.05).epsilon(1e-6));
        column.take(bore / 2 + 0.0251); // beside the plating
        CHECK(column.transmission(0) == doctest::Approx(1).epsilon(1e-6));
    }
}

TEST_CASE("laminate, planes and set-back planes attenuate over their depth") {
    Board board = slab(1.6);
    board.layers = {{35, false, {{rectangle(2, 2, 12, 10), true}}},
                    {35, false, {{rectangle(3, 5, 11, 7), true}}}, // 2 mm of depth, 1 mm behind the ends
                    {35, false, {{rectangle(2, 2, 12, 10), true}}}};
    const Beam beam = tube_beam(120, 1);
    EdgeColumn column(board, {}, beam);
    column.take(0);
    CHECK(column.transmission(0.4) == doctest::Approx(transmission(beam, board.laminate, 8)).epsilon(1e-9));
    double sum = 0; // 2 mm of copper and 6 mm of laminate behind each other
    for (const auto& [kev, weight] : beam.lines)
        sum += weight * std::exp(-0.1 * (2 * linear_attenuation_per_cm(copper(), kev) +
                                         6 * linear_attenuation_per_cm(board.laminate, kev)));
    CHECK(column.transmission(0) == doctest::Approx(sum).epsilon(1e-9));
    column.take(4.5); // beyond the end of the inner plane
    CHECK(column.transmission(0) == doctest::Approx(transmission(beam, board.laminate, 8)).epsilon(1e-9));
    column.take(6);                                                     // beside the board
    CHECK(column.transmission(0) == doctest::Approx(1).epsilon(1e-12)); // the beam's weights add up to that
}

TEST_CASE("a tilted beam enters and leaves the board on a ramp") {
    // A slab of thickness H and depth D under a tilt a: a ray at height z passes depth within
    // |z + v tan a| < H/2, so its path is (H/2 + D/2 tan a - |z|) / sin a on the ramp, D / cos a inside.
    Board board = slab(1.0);
    EdgeShot shot;
    shot.tilt_deg = 2;
    const double kev = 60, a = 2 * std::numbers::pi / 180, half_ramp = 4 * std::tan(a);
    EdgeColumn column(board, shot, single_energy_beam(kev));
    column.take(0);
    for (const double z : {-0.6, -0.5, -0.45, -0.1, 0.0, 0.3, 0.5, 0.62}) {
        const double path = std::clamp((0.5 + half_ramp - std::abs(z)) / std::sin(a), 0.0, 8 / std::cos(a));
        CHECK(-std::log(column.transmission(z)) ==
              doctest::Approx(path * linear_attenuation_per_cm(board.laminate, kev) / 10).epsilon(1e-9));
    }
}

TEST_CASE("an opaque board's shadow is as thick as the board, wherever its edges fall in a pixel") {
    // 8 mm of copper lets nothing through at 60 keV. Both edges together within 0.004 px, see the header.
    const Board board = copper_slab(1.2345);
    for (const double shift : {0.0, 0.003, 0.0071, 0.0113}) {
        EdgeShot shot;
        shot.width_mm = 1, shot.height_mm = 2.4, shot.shift_mm.y = shift;
        const Image<float> picture = draw_edge_on(board, shot, sharp(0.02));
        CHECK(std::abs(shadow_px(picture, 20) - 1.2345 / 0.02) < 0.004);
    }
}

TEST_CASE("a cone beam widens the shadow by depth / (2 distance)") {
    // The edges nearest to the source cast it: H (1 + D / (2 SOD - D)) at mid-depth's scale.
    const Board board = copper_slab(1.6);
    EdgeShot shot;
    shot.width_mm = 0.4, shot.height_mm = 2.4, shot.source_to_board_mm = 100;
    Exposure exposure = sharp(0.02);
    exposure.beam = single_energy_beam(20);
    const Image<float> picture = draw_edge_on(board, shot, exposure);
    // On the ramp between the far edge's shadow and the near edge's, e^-px still comes through: ramp / p a
    // face.
    const double ramp = 40 * (100.0 / 96 - 100.0 / 104), p = 0.8 * linear_attenuation_per_cm(copper(), 20);
    CHECK(std::abs(shadow_px(picture, 10) - (80 * (1 + 8.0 / (2 * 100 - 8)) - 2 * ramp / p)) < 0.01);
}

TEST_CASE("turned by 90 degrees the picture is the same, lying on its side; few samples are enough") {
    Board board = slab(1.0);
    board.layers = {{35, false, {{rectangle(2, 2, 12, 10), true}}},
                    {35, false, {{rectangle(3, 3, 9, 9), true}}}};
    Drill drill;
    drill.centre_mm = {7.1, 6}, drill.drill_mm = 0.5, drill.plating_um = 25;
    board.drills = {drill};
    EdgeShot level;
    level.width_mm = 4, level.height_mm = 2;
    EdgeShot upright = level;
    upright.width_mm = 2, upright.height_mm = 4, upright.rotation_deg = 90;
    const Exposure exposure = sharp(0.02);
    const Image<float> a = draw_edge_on(board, level, exposure), b = draw_edge_on(board, upright, exposure);
    Exposure fine = exposure;
    fine.samples = 12;
    const Image<float> c = draw_edge_on(board, level, fine);
    double turned = 0, finer = 0;
    for (int y = 0; y < a.height(); ++y)
        for (int x = 0; x < a.width(); ++x) {
            // Anticlockwise: the board's right end points up, its upper face to the left.
            turned = std::max(turned, std::abs(double{a(x, y)} - b(y, a.width() - 1 - x)));
            finer = std::max(finer, std::abs(double{a(x, y)} - c(x, y)));
        }
    CHECK(turned < 1e-4);
    CHECK(finer < 0.004); // edges along the board's run stand on cells of a quarter pixel
}

TEST_CASE("what cannot be drawn is refused") {
    Board board = copper_slab(1);
    EdgeShot shot;
    shot.layer_tops_mm = {0, 0.5};
    CHECK_THROWS_AS(draw_edge_on(board, shot, sharp(0.02)), Error);
    shot.layer_tops_mm.clear();
    shot.source_to_board_mm = 3; // within the board's depth
    CHECK_THROWS_AS(draw_edge_on(board, shot, sharp(0.02)), Error);
}
