// SPDX-License-Identifier: Apache-2.0
#include "layers/between.hpp"
#include "layers/layered_hole.hpp"
#include "stackup/drawn_volume.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace ringwall;
using namespace ringwall::test;

namespace {

const layers::LayeredHole* at(const std::vector<layers::LayeredHole>& holes, Point mm) {
    for (const auto& hole : holes)
        if (std::hypot((hole.whole.centre_px.x + 0.5) * 0.025 - mm.x,
                       (hole.whole.centre_px.y + 0.5) * 0.025 - mm.y) < 0.1)
            return &hole;
    return nullptr;
}

std::vector<layers::LayeredHole> measured(const DrawnVolume& drawn) {
    Watch watch;
    const FlatStack flat = flatten(drawn.volume(), {}, watch);
    const std::vector<layers::LayerMap> maps = layers::layer_maps(flat);
    std::vector<layers::LayeredHole> holes = layers::fit_layers(flat, maps, 1, watch);
    layers::read_walls(drawn.volume(), flat, holes, watch);
    layers::measure_layer_rings(flat, maps, 1, holes, {}, watch);
    return holes;
}

} // namespace

TEST_CASE("holes of a drawn stack: bore, wall and the ring of every layer") {
    // A bow of 0.16 mm over 11 mm stretches the outer layers by 0.4 px in 70 (8 x bow / length^2 times half
    // the thickness). Truth is the flat board's.
    phantom::VolumeScan scan = small_scan();
    scan.bow_mm = 0.16;
    const DrawnVolume drawn(small_board(3), scan);
    const std::vector<layers::LayeredHole> holes = measured(drawn);
    const std::vector<phantom::HoleTruth> truth = phantom::truth(drawn.board);
    int rings = 0;
    for (const phantom::HoleTruth& is : truth) {
        const layers::LayeredHole* found = at(holes, is.centre_mm);
        REQUIRE(found != nullptr);
        CHECK(std::abs(found->whole.bore_px.value() - is.bore_mm / 0.025) < 0.2);
        CHECK(found->whole.wall.state == (is.plating_um > 0 ? WallState::plated : WallState::bare));
        for (std::size_t k = 0; k < is.layers.size(); ++k) {
            const KeepOut& keepout = found->by_layer[k].keepout;
            // What lies further than 2 mm is read in blocks of 2 x 2 px, with a u that says so.
            if (keepout.state != KeepOutState::ring_seen || is.layers[k].keepout_mm <= 0 ||
                is.layers[k].keepout_mm > 2)
                continue;
            ++rings;
            CHECK(std::abs(keepout.min_px.value() - is.layers[k].keepout_mm / 0.025) < 0.2); // the goal
        }
    }
    CHECK(holes.size() == truth.size());
    CHECK(rings >= 4);
}

TEST_CASE("a barrel missing over part of the depth is incomplete, and only that one") {
    phantom::Board board = small_board(3);
    phantom::VolumeScan scan = small_scan();
    std::size_t broken = board.drills.size();
    for (std::size_t i = 0; i < board.drills.size(); ++i)
        if (board.drills[i].plating_um > 0) broken = i;
    REQUIRE(broken < board.drills.size());
    scan.breaks = {{broken, 0.42, 0.58}};
    const DrawnVolume drawn(board, scan);
    const std::vector<layers::LayeredHole> holes = measured(drawn);
    for (std::size_t i = 0; i < board.drills.size(); ++i) {
        const layers::LayeredHole* found = at(holes, board.drills[i].centre_mm);
        REQUIRE(found != nullptr);
        const WallState is = board.drills[i].plating_um <= 0 ? WallState::bare
                             : i == broken                   ? WallState::incomplete
                                                             : WallState::plated;
        CHECK(found->whole.wall.state == is);
        if (i != broken) continue;
        // 0.16 of 1 mm: 6.4 cells of 40, all of the turn; the blur of one slice may move either end by one.
        CHECK(found->whole.wall.covered_fraction == doctest::Approx(1 - 0.16).epsilon(0.06));
    }
}

TEST_CASE(
    "a layer at whose depth the barrel is broken has its gaps from the drilled wall, as the others have") {
    phantom::Board board = small_board(3);
    phantom::VolumeScan scan = small_scan();
    std::size_t broken = board.drills.size();
    for (std::size_t i = 0; i < board.drills.size(); ++i)
        if (board.drills[i].plating_um > 0) broken = i;
    REQUIRE(broken < board.drills.size());
    board.drills[broken].plating_um = 40; // the mixture of bore and drill would be off by 0.8 px and more
    scan.breaks = {{broken, 0.345 - 0.05, 0.345 + 0.1}}; // layer 2 lies at 0.345 mm
    const DrawnVolume drawn(board, scan);
    const phantom::HoleTruth is = phantom::truth(board)[broken];
    const std::vector<layers::LayeredHole> holes = measured(drawn);
    const layers::LayeredHole* found = at(holes, is.centre_mm);
    REQUIRE(found != nullptr);
    CHECK(found->whole.wall.state == WallState::incomplete);
    const Hole& layer = found->by_layer[1];
    CHECK(std::abs(layer.drill_px.value() - (is.bore_mm + 0.08) / 0.025) < 0.2);
    CHECK(std::abs(found->whole.bore_px.value() - is.bore_mm / 0.025) < 0.2);
}

TEST_CASE(
    "a bare hole whose wall touches a plane on one layer is touching there: its bore is that of the others") {
    phantom::Board board = small_board(3);
    std::size_t bare = board.drills.size();
    for (std::size_t i = 0; i < board.drills.size(); ++i)
        if (board.drills[i].plating_um <= 0) bare = i;
    REQUIRE(bare < board.drills.size());
    // Copper on layer 2 comes up to the wall over a third of the turn; the other layers stay as they are,
    // clear of this hole.
    const phantom::Drill& drill = board.drills[bare];
    const Point c = drill.centre_mm;
    const double r = drill.drill_mm / 2;
    board.layers.assign(4, {70, false, {}});
    const phantom::Polygon plane{{{c.x + 0.5 * r, c.y - 2 * r},
                                  {c.x + 3 * r, c.y - 2 * r},
                                  {c.x + 3 * r, c.y + 2 * r},
                                  {c.x + 0.5 * r, c.y + 2 * r}}};
    board.layers[1].strokes.push_back({plane, true});
    for (phantom::CopperLayer& layer : board.layers) // a land elsewhere, so that every layer shows copper
        layer.strokes.push_back({phantom::Circle{{c.x > 5.5 ? 2.0 : 9.0, c.y > 4 ? 2.0 : 6.0}, 1.0}, true});
    const DrawnVolume drawn(board, small_scan());
    const phantom::HoleTruth is = phantom::truth(board)[bare];
    REQUIRE(is.layers[1].keepout_mm == 0);
    const std::vector<layers::LayeredHole> holes = measured(drawn);
    const layers::LayeredHole* found = at(holes, is.centre_mm);
    REQUIRE(found != nullptr);
    CHECK(found->whole.wall.state == WallState::bare);
    CHECK(std::abs(found->by_layer[1].bore_px.value() - is.bore_mm / 0.025) < 0.2);
    CHECK(found->by_layer[1].keepout.state == KeepOutState::touching);
    CHECK(found->whole.keepout.state == KeepOutState::touching);
}

TEST_CASE("each direction of a hole has the least gap of all its layers") {
    const DrawnVolume drawn(small_board(3), small_scan());
    int compared = 0;
    for (const layers::LayeredHole& hole : measured(drawn))
        for (std::size_t i = 0; i < hole.whole.keepout.profile.size(); ++i) {
            const GapSample& whole = hole.whole.keepout.profile[i];
            if (whole.reason != GapReason::measured) continue;
            double least = 1e9;
            for (const Hole& layer : hole.by_layer)
                if (layer.keepout.profile[i].reason == GapReason::measured)
                    least = std::min(least, layer.keepout.profile[i].gap_px);
            CHECK(whole.gap_px == least);
            ++compared;
        }
    CHECK(compared > 100);
}

namespace {

/// A short strip of copper, 3 slices thick, 8 px wide and 13 long, at mid-depth, `gap_px` from a hole's wall
/// to its right.
Volume with_strip(const DrawnVolume& drawn, Point centre_px, double wall_px, double gap_px) {
    Volume volume = drawn.volume();
    const int middle = volume.slices / 2;
    float copper = 0;
    for (const auto& slice : drawn.slices)
        copper = std::max(copper,
                          static_cast<float>(*std::max_element(slice.data(), slice.data() + slice.size())));
    const auto read = volume.read_slice;
    volume.read_slice = [=](int z, ImageView<float> out) {
        read(z, out);
        if (std::abs(z - middle) > 1) return;
        const int from = static_cast<int>(std::lround(centre_px.x + wall_px + gap_px));
        for (int y = static_cast<int>(centre_px.y) - 6; y <= static_cast<int>(centre_px.y) + 6; ++y)
            for (int x = from; x < from + 8; ++x)
                if (x >= 0 && y >= 0 && x < out.width() && y < out.height()) out(x, y) = copper;
    };
    return volume;
}

} // namespace

TEST_CASE("copper at a depth of its own is no layer and is found beside the hole; without it nothing is") {
    phantom::Board board = small_board(3);
    for (phantom::CopperLayer& layer : board.layers)
        layer.thickness_um = 35;
    board.thickness_mm = 1.2; // layers 0.38 mm apart: room for a strip
    const DrawnVolume drawn(board, small_scan());
    Watch watch;
    const FlatStack plain = flatten(drawn.volume(), {}, watch);
    const double ratio = layers::copper_ratio(plain).value();
    const auto maps = layers::layer_maps(plain);
    const auto holes = layers::fit_layers(plain, maps, 1, watch);
    const layers::BetweenSight sight = layers::between_sight(plain, ratio, 25);
    CHECK(sight.unlooked.empty());
    // 1.5 laminate steps of 29, blur of 1 slice: 1.5 x 4.13 / 29 slices of 25 um
    CHECK(sight.least_foil_px * 25 == doctest::Approx(5.3).epsilon(0.3));
    int strips = 0;
    for (const layers::LayeredHole& hole : holes) {
        const double wall = (hole.whole.drill_px ? hole.whole.drill_px : hole.whole.bore_px).value() / 2;
        const bool near_edge = hole.whole.centre_px.x + wall + 30 > drawn.slices.front().width();
        if (hole.whole.kind != HoleKind::hole || near_edge || wall < 20) continue;
        Hole fitted = hole.whole;
        fitted.wall.state = WallState::plated; // its barrel, where it has one, is left out
        CHECK_FALSE(layers::copper_between(plain, 1, sight, fitted, 1.0, 12));
        const FlatStack with = flatten(with_strip(drawn, fitted.centre_px, wall, 8), {}, watch);
        CHECK(with.layers.size() == plain.layers.size());
        const auto found = layers::copper_between(with, 1, sight, fitted, 1.0, 12);
        REQUIRE(found);
        CHECK(std::abs(found->gap_px - 8) <= 2); // a pixel's grid, and the tilt taken off
        CHECK(std::abs(std::remainder(found->angle_deg, 360)) < 45);
        ++strips;
    }
    CHECK(strips >= 1);
}

TEST_CASE("where streaks cross the laminate no ring is measured; without them rings are") {
    phantom::VolumeScan scan = small_scan();
    for (const double streaks : {0.0, 1.0}) {
        scan.metal_streaks = streaks;
        const DrawnVolume drawn(small_board(3), scan);
        int undecided = 0, holes = 0;
        for (const layers::LayeredHole& hole : measured(drawn)) {
            ++holes;
            undecided += hole.whole.keepout.state == KeepOutState::undecided ? 1 : 0;
        }
        CAPTURE(streaks);
        CHECK(undecided == (streaks > 0 ? holes : 0));
    }
}
