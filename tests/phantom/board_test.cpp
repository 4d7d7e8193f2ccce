// SPDX-License-Identifier: Apache-2.0
#include "ringwall/error.hpp"
#include "ringwall/files.hpp"
#include "ringwall/phantom.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <set>

using namespace ringwall;
using namespace ringwall::phantom;

namespace {

namespace fs = std::filesystem;

double radius_over_all(const Drill& d) {
    const double half_slot =
        d.is_slot ? std::hypot(d.slot_to_mm.x - d.centre_mm.x, d.slot_to_mm.y - d.centre_mm.y) / 2 : 0;
    double bite = 0;
    for (const Bite& b : d.bites)
        bite = std::max(bite, b.radius_mm);
    return half_slot + d.drill_mm / 2 + d.oval_mm + bite;
}
Point middle(const Drill& d) {
    if (!d.is_slot) return d.centre_mm;
    return {(d.centre_mm.x + d.slot_to_mm.x) / 2, (d.centre_mm.y + d.slot_to_mm.y) / 2};
}

/// From a point to the nearest edge of the box round the board.
double to_edge(const Board& board, Point p) {
    double nearest = 1e9;
    for (const Point& corner : board.outline.corners_mm)
        for (const double d : {corner.x - p.x, corner.y - p.y})
            nearest = std::min(nearest, std::abs(d));
    return nearest;
}

RandomBoard hard(std::uint64_t seed) {
    RandomBoard choice;
    choice.seed = seed;
    choice.worn = choice.parts = true;
    choice.hardware_holes = 8;
    choice.slots = choice.filled = 1;
    choice.whole_board_in_view = seed % 2 == 0;
    return choice;
}

fs::path fresh_folder(const char* name) {
    const fs::path folder = fs::temp_directory_path() / (std::string("ringwall_") + name);
    fs::remove_all(folder);
    return folder;
}

} // namespace

TEST_CASE("no two drills of a random board meet") {
    for (std::uint64_t seed = 1; seed <= 40; ++seed) {
        const Board board = random_board(hard(seed));
        for (std::size_t i = 0; i < board.drills.size(); ++i)
            for (std::size_t j = 0; j < i; ++j) {
                const Drill &a = board.drills[i], &b = board.drills[j];
                const double apart = std::hypot(middle(a).x - middle(b).x, middle(a).y - middle(b).y);
                CHECK(apart > radius_over_all(a) + radius_over_all(b) + 0.2);
            }
    }
}

TEST_CASE("random boards hold every sort of hole and ring, and none that cannot be decided") {
    int touching = 0, runs_on = 0, narrow = 0, wide = 0, plated = 0, bare = 0, vias = 0, incomplete = 0,
        worn_out = 0;
    int hidden = 0, slots = 0, filled = 0, near_edge = 0;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        const Board board = random_board(hard(seed));
        for (const HoleTruth& hole : truth(board)) {
            const bool via = hole.drill_mm < 0.8;
            vias += via;
            if (via) continue;
            touching += hole.touching, runs_on += hole.runs_on, slots += hole.slot, filled += hole.filled;
            narrow += hole.keepout_mm > 0 && hole.keepout_mm<0.3, wide += hole.keepout_mm> 0.8;
            (hole.plating_um > 0 ? plated : bare) += 1;
            incomplete += hole.plating_um > 0 && hole.covered_fraction < 0.95;
            worn_out += !hole.round && !hole.slot;
            hidden += hole.seen_fraction < 0.97;
            near_edge += to_edge(board, hole.centre_mm) - hole.drill_mm / 2 < 1.1;
            CHECK(hole.plating_um * (hole.plating_um - 20) >= 0);
            CHECK(hole.plating_um <= 35);
            // Between touching and 0.05 mm no picture decides.
            if (!hole.slot && hole.plating_um == 0) CHECK((hole.keepout_mm <= 0 || hole.keepout_mm > 0.05));
        }
    }
    for (const int count : {touching, runs_on, narrow, wide, plated, bare, incomplete, worn_out, hidden,
                            slots, filled, near_edge})
        CHECK(count >= 3);
    CHECK(vias >= 200);
}

TEST_CASE("a fine picture without noise shows the gaps that the truth states") {
    // Independent of the closed forms: copper is looked for pixel by pixel along each ray, to one and a half
    // pixels.
    Exposure fine;
    fine.pixel_mm = 0.01;
    fine.blur_sigma_px = 0;
    fine.photons = 0;
    fine.samples = 2;
    fine.beam = single_energy_beam(30);
    int compared = 0, wrong = 0;
    for (const std::uint64_t seed : {3U, 8U}) {
        RandomBoard choice = hard(seed);
        choice.parts = false;
        const Board board = random_board(choice);
        const Image<float> picture = draw_transmission(board, fine);
        const double laminate = transmission(fine.beam, board.laminate, board.thickness_mm);
        for (const HoleTruth& hole : truth(board)) {
            if (hole.plating_um > 0 || hole.slot || hole.filled) continue;
            for (int angle = 0; angle < 360; angle += 3) {
                const double gap = hole.gap_mm[static_cast<std::size_t>(angle)],
                             wall = hole.wall_radius_mm[static_cast<std::size_t>(angle)];
                if (gap < 0 || gap > 3) continue;
                const double ux = std::cos(angle * 0.017453292519943295),
                             uy = -std::sin(angle * 0.017453292519943295);
                const auto at = [&](double r) {
                    return picture(
                        static_cast<int>(std::lround((hole.centre_mm.x + r * ux) / fine.pixel_mm)),
                        static_cast<int>(std::lround((hole.centre_mm.y + r * uy) / fine.pixel_mm)));
                };
                double r = wall - 0.02;
                while (at(r) > laminate * 0.96 && r < wall + 4)
                    r += 0.001;
                ++compared;
                // A ray along an edge of copper sees it or not by a hair: such rays are few.
                wrong += std::abs(r - wall - gap) > 0.015;
            }
        }
    }
    CHECK(compared > 500);
    CHECK(wrong <= compared / 100);
}

TEST_CASE("the same seed gives the same board") {
    const Board a = random_board(hard(5)), b = random_board(hard(5));
    REQUIRE(a.drills.size() == b.drills.size());
    for (std::size_t i = 0; i < a.drills.size(); ++i)
        CHECK(a.drills[i].centre_mm == b.drills[i].centre_mm);
    Exposure coarse;
    coarse.pixel_mm = 0.1;
    const auto pa = expose(a, coarse), pb = expose(b, coarse);
    CHECK(std::equal(pa.data(), pa.data() + pa.size(), pb.data()));
}

TEST_CASE("boards with and without outside air") {
    RandomBoard choice;
    Exposure coarse;
    coarse.pixel_mm = 0.1;
    coarse.photons = 0;
    CHECK(draw_transmission(random_board(choice), coarse)(0, 0) == doctest::Approx(1));
    choice.whole_board_in_view = false;
    CHECK(draw_transmission(random_board(choice), coarse)(0, 0) < 0.97);
}

/// Computed once: it takes a second or two.
const std::vector<HoleTruth>& demo_truth(char revision) {
    static const std::vector<HoleTruth> a = truth(demo_board('A')), b = truth(demo_board('B'));
    return revision == 'A' ? a : b;
}

TEST_CASE("demo: the lid-screw holes are as told") {
    const Board a = demo_board('A'), b = demo_board('B');
    CHECK(a.layers.size() == 4);
    CHECK(a.thickness_mm == 1.6);
    CHECK(b.layers.size() == 6);
    CHECK(b.thickness_mm == 1.8);
    const auto &ta = demo_truth('A'), &tb = demo_truth('B');
    const auto lid_a = demo_lid_holes(a), lid_b = demo_lid_holes(b);
    for (const std::size_t hole : lid_a) {
        CHECK(ta[hole].drill_mm == 3.3);
        CHECK(ta[hole].plating_um == 0);
    }
    CHECK(ta[lid_a[0]].touching);
    CHECK(ta[lid_a[0]].touching_arcs_deg[0].second - ta[lid_a[0]].touching_arcs_deg[0].first < 180);
    CHECK(ta[lid_a[1]].keepout_mm == doctest::Approx(0.45 - std::hypot(0.15, 0.16)).epsilon(1e-4));
    CHECK(ta[lid_a[2]].keepout_mm > 0.9);
    CHECK(ta[lid_a[3]].keepout_mm > 0.8);
    CHECK(tb[lid_b[0]].keepout_mm > 1.4);
    CHECK(tb[lid_b[1]].centre_mm.x == doctest::Approx(70.5));
    CHECK(tb[lid_b[2]].plating_um == 25);
    CHECK(tb[lid_b[2]].runs_on);
    CHECK(tb[lid_b[2]].keepout_mm > 1.5);
    CHECK(tb[lid_b[3]].keepout_mm == doctest::Approx(ta[lid_a[3]].keepout_mm).epsilon(1e-6));
    CHECK_THROWS_AS(demo_board('C'), Error);
}

TEST_CASE("demo: no two drills meet and no pin's ring is bridged by another net") {
    for (const char revision : {'A', 'B'}) {
        const Board board = demo_board(revision);
        for (std::size_t i = 0; i < board.drills.size(); ++i)
            for (std::size_t j = 0; j < i; ++j)
                CHECK(std::hypot(board.drills[i].centre_mm.x - board.drills[j].centre_mm.x,
                                 board.drills[i].centre_mm.y - board.drills[j].centre_mm.y) >
                      (board.drills[i].drill_mm + board.drills[j].drill_mm) / 2 + 0.2);
        // A hole with no way into a plane must have a gap all round on every plane: nothing else may touch
        // it.
        for (const HoleTruth& hole : truth(board))
            CHECK((hole.touching ? hole.plating_um == 0 : hole.keepout_mm > 0.15));
    }
}

TEST_CASE("demo: written into a new folder, refused elsewhere") {
    const fs::path folder = fresh_folder("demo_test");
    write_demo(folder);
    for (const char* name : {"README.txt", "revision-a/case.toml", "revision-a/face.tiff",
                             "revision-b/case.toml", "revision-b/face.tiff"})
        CHECK(fs::file_size(folder / name) > 100);
    std::ifstream readme(folder / "README.txt");
    const std::string text((std::istreambuf_iterator<char>(readme)), {});
    CHECK(text.find("synthetic") != std::string::npos);
    CHECK(text.find("invented") != std::string::npos);
    const Radiograph picture = load_radiograph(folder / "revision-a" / "face.tiff");
    CHECK(picture.facts.width_px == 3200);
    CHECK(picture.facts.height_px == 2000);
    CHECK(picture.facts.bits == 16);
    REQUIRE(picture.facts.scale.has_value());
    CHECK(picture.facts.scale->pixel_xy_mm[0] == doctest::Approx(0.025).epsilon(1e-6));
    CHECK_THROWS_AS(write_demo(folder), Error);
    fs::remove_all(folder);
}
