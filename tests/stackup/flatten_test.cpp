// SPDX-License-Identifier: Apache-2.0
#include "ringwall/error.hpp"
#include "ringwall/flat_stack.hpp"
#include "stackup/drawn_volume.hpp"
#include "stackup/foil_fit.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <string>

using namespace ringwall;
using namespace ringwall::test;

namespace {

FlatStack flat_of(const Volume& volume) {
    Watch watch;
    return flatten(volume, {}, watch);
}

std::string refused(const Volume& volume) {
    Watch watch;
    try {
        flatten(volume, {}, watch);
    } catch (const Error& error) {
        CHECK(error.fault() == Fault::nothing_measured);
        return error.what();
    }
    return {};
}

double below(double z) {
    return 0.5 * std::erfc(-z / std::numbers::sqrt2);
}

} // namespace

TEST_CASE("a tilted, bowed board is laid flat: layers, thickness, foils and face") {
    const DrawnVolume drawn(small_board(3), small_scan());
    const FlatStack flat = flat_of(drawn.volume());
    const std::vector<double> depths = phantom::layer_depths_mm(drawn.board, drawn.scan);
    REQUIRE(flat.layers.size() == depths.size());
    // Goal: thickness within 0.2 voxel; foils share one blur, so each half of them bears half of that.
    CHECK(std::abs(flat.thickness_px.value() - 40) < 0.2);
    for (std::size_t k = 0; k < depths.size(); ++k) {
        CHECK(std::abs(flat.layers[k].depth_px.value() - depths[k] / 0.025) < 0.1);
        REQUIRE(flat.layers[k].thickness_px);
        CHECK(std::abs(flat.layers[k].thickness_px.value() - 2.8) < 0.2);
    }
    for (const Point at_mm : {Point{1, 1}, Point{4, 3}, Point{7, 5}}) {
        const double face = phantom::low_face_z_mm(drawn.board, drawn.scan, at_mm) / 0.025;
        CHECK(std::abs(flat.low_face.at({at_mm.x / 0.025 - 0.5, at_mm.y / 0.025 - 0.5}) - face) < 0.2);
    }
}

TEST_CASE("blocks of the rim that show one foil alone are no second board") {
    // Rounded corners and copper to the edge: there a block is mostly air beside a corner of both foils, and
    // the lower of them alone may pass for a board of 6 slices.
    phantom::Board board = small_board(3);
    board.outline = {{{0.7, 0.9}, {10.1, 0.7}, {10.3, 7.1}, {0.9, 7.3}}};
    board.layers.resize(2);
    board.layers[0].poured = false, board.layers[0].strokes.clear();
    board.layers[1].poured = true, board.layers[1].strokes.clear();
    board.drills.clear();
    const FlatStack flat = flat_of(DrawnVolume(board, small_scan()).volume());
    CHECK(flat.layers.size() >= 1);
    CHECK(std::abs(flat.thickness_px.value() - 40) < 2); // the low face is bare
}

TEST_CASE("a stack stored the other way round is laid flat the same") {
    phantom::VolumeScan scan = small_scan();
    const FlatStack bright = flat_of(DrawnVolume(small_board(3), scan).volume());
    scan.dense_bright = false;
    const FlatStack dark = flat_of(DrawnVolume(small_board(3), scan).volume());
    CHECK(dark.dense == DenseSide::dark);
    CHECK(dark.layers.size() == bright.layers.size());
    // Stored as 65535 - value: rounding of halves may differ by one grey value of 1200 a laminate step.
    CHECK(dark.thickness_px.value() == doctest::Approx(bright.thickness_px.value()).epsilon(0.001));
}

TEST_CASE("what cannot be laid flat is refused with the reason and the extent") {
    phantom::VolumeScan scan = small_scan();
    SUBCASE("nothing but air") {
        phantom::Board board = small_board(3);
        DrawnVolume drawn(board, scan);
        for (auto& slice : drawn.slices)
            for (int y = 0; y < slice.height(); ++y)
                for (int x = 0; x < slice.width(); ++x)
                    slice(x, y) = static_cast<std::uint16_t>(3000 + (x * 7 + y * 13) % 60);
        CHECK(refused(drawn.volume()).find("no board") != std::string::npos);
    }
    SUBCASE("the board leaves the volume") {
        const DrawnVolume drawn(small_board(3), scan);
        Volume cut = drawn.volume();
        cut.slices = 40;
        const std::string why = refused(cut);
        CHECK(why.find("leaves the volume") != std::string::npos);
        CHECK(why.find("to 40 of 1 to 40") != std::string::npos); // the last slice, counted from 1
    }
    SUBCASE("two boards side by side, 12 slices apart") {
        const DrawnVolume drawn(small_board(3), scan);
        Volume two = drawn.volume();
        two.slices -= 12;
        const auto read = two.read_slice;
        two.read_slice = [read](int z, ImageView<float> out) {
            Image<float> other(out.width(), out.height());
            read(z, out);
            read(z + 12, other.view());
            for (int y = 0; y < out.height(); ++y)
                for (int x = out.width() / 2; x < out.width(); ++x)
                    out(x, y) = other(x, y);
        };
        CHECK(refused(two).find("two boards") != std::string::npos);
    }
    SUBCASE("two boards side by side at one height, air between them") {
        const DrawnVolume drawn(small_board(3), scan);
        Volume two = drawn.volume();
        const auto read = two.read_slice;
        const int width = two.width_px, air = 48;
        two.width_px = 2 * width + air;
        two.read_slice = [read, width, air](int z, ImageView<float> out) {
            Image<float> one(width, out.height()), none(width, out.height());
            read(z, one.view());
            read(0, none.view());
            for (int y = 0; y < out.height(); ++y)
                for (int x = 0; x < out.width(); ++x)
                    out(x, y) = x < width         ? one(x, y)
                                : x < width + air ? none(x - width, y)
                                                  : one(x - width - air, y);
        };
        const std::string why = refused(two);
        CHECK(why.find("side by side: x ") != std::string::npos);
    }
    SUBCASE("two boards one above the other") {
        const DrawnVolume drawn(small_board(3), scan);
        Volume two = drawn.volume();
        const auto read = two.read_slice;
        const int slices = two.slices;
        two.slices = 2 * slices;
        two.read_slice = [read, slices](int z, ImageView<float> out) { read(z % slices, out); };
        CHECK(refused(two).find("one above the other") != std::string::npos);
    }
}

TEST_CASE("foils thinner than the blur: thickness from the shape alone, heights being each block's own") {
    FoilFit guess;
    guess.blur = 1.3;
    CoveredFoil foil;
    foil.middle = 10.4;
    for (int b = 0; b < 20; ++b) {
        BlockReadings block;
        const double height = 20 + b % 7, shift = 0.01 * (b % 3 - 1), phase = 0.05 * b;
        for (int z = 4; z <= 16; ++z) {
            const double d = z + phase - 10.2 - shift, half = 1.4 / 2;
            const double line = below(d + half) - below(d - half);
            block.push_back({z + phase, height * line + below(d - half), 0});
        }
        foil.blocks.push_back(block);
    }
    guess.foils = {foil};
    const FoilFit fit = fit_foils(guess, 0.002, 1.4, 1.6);
    // Readings without noise: what is left is the guess of the usual thickness and its weight.
    CHECK(std::abs(fit.foils[0].middle - 10.2) < 0.02);
    CHECK(std::abs(fit.foils[0].thickness - 1.4) < 0.05);
    CHECK(std::abs(fit.blur - 1) < 0.01);
}

TEST_CASE("a block that is no foil between two even surrounds does not bend the blur that all share") {
    FoilFit guess;
    guess.blur = 1.3;
    for (int k = 0; k < 2; ++k) {
        CoveredFoil foil;
        foil.middle = 10.4;
        for (int b = 0; b < 12; ++b) {
            BlockReadings block;
            const double phase = 0.05 * b;
            for (int z = 4; z <= 16; ++z) {
                const double d = z + phase - 10.2, half = 1.4 / 2;
                double value = (20 + b) * (below(d + half) - below(d - half)) + below(d - half);
                if (k == 0 && b < 3) value += 2 * below(d - 3.5); // a barrel that begins further down
                block.push_back({z + phase, value, 0});
            }
            foil.blocks.push_back(block);
        }
        guess.foils.push_back(foil);
    }
    const FoilFit fit = fit_foils(guess, 0.002, 1.4, 1.6);
    CHECK(fit.foils[0].blocks.size() == 9);
    CHECK(fit.foils[1].blocks.size() == 12);
    for (const CoveredFoil& foil : fit.foils)
        CHECK(std::abs(foil.thickness - 1.4) < 0.05); // as without them, above
    CHECK(std::abs(fit.blur - 1) < 0.01);
}

TEST_CASE("a count is a lower bound where an odd number or a bare face speaks for more") {
    phantom::Board board = small_board(3);
    CHECK(flat_of(DrawnVolume(board, small_scan()).volume()).layers_why.empty());
    phantom::VolumeScan scan = small_scan();
    scan.layer_depths_mm = {0.035, 0.345, 0.965};
    board.layers.resize(3);
    const FlatStack odd = flat_of(DrawnVolume(board, scan).volume());
    CHECK(odd.layers.size() == 3);
    CHECK(odd.layers_why.find("an even number as a rule") != std::string::npos);
    scan.layer_depths_mm = {0.345, 0.965};
    board.layers.resize(2);
    const FlatStack bare = flat_of(DrawnVolume(board, scan).volume());
    CHECK(bare.layers.size() == 2);
    CHECK(bare.layers_why.find("no copper shows on the low-z face") != std::string::npos);
}

TEST_CASE("a board without copper has no layers: noise makes none") {
    phantom::Board board = small_board(3);
    for (phantom::CopperLayer& layer : board.layers)
        layer.poured = false, layer.strokes.clear();
    for (phantom::Drill& drill : board.drills)
        drill.plating_um = 0;
    const DrawnVolume drawn(board, small_scan());
    Watch watch;
    const FlatStack flat = flatten(drawn.volume(), {DenseSide::bright}, watch);
    CHECK(flat.layers.empty());
    CHECK(flat.layers_why == "no copper layer shows");
    CHECK(std::abs(flat.thickness_px.value() - 40) < 1);
}
