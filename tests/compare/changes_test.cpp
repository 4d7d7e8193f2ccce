// SPDX-License-Identifier: Apache-2.0
#include "compare/drawn_records.hpp"
#include "compare/false_discovery.hpp"
#include "ringwall/error.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

const HoleChange& pair_of(const Comparison& comparison, const std::string& old_id) {
    for (const HoleChange& pair : comparison.pairs)
        if (pair.old_id == old_id) return pair;
    FAIL("no pair of " << old_id);
    return comparison.pairs.front();
}

/// Twelve holes, the same on both boards but for what a test changes; no noise, small u.
struct Boards {
    BoardRecord old_board = record_board("A", 0.025, 0.002), revised_board = record_board("B", 0.025, 0.002);
    Boards() {
        phantom::Random random(71);
        for (int i = 1; i <= 12; ++i) {
            const Point at{random.between(300, 3700), random.between(300, 2700)};
            const HoleRecord hole = record_hole("H" + std::to_string(i), at, 132, 20, 0.025, 0.002, 0.05);
            old_board.holes.push_back(hole);
            revised_board.holes.push_back(hole);
        }
    }
    HoleRecord& revised(int number) { return revised_board.holes[static_cast<std::size_t>(number) - 1]; }
    HoleRecord& old(int number) { return old_board.holes[static_cast<std::size_t>(number) - 1]; }
    [[nodiscard]] Comparison compared() const { return compare_boards(old_board, revised_board); }
};

} // namespace

TEST_CASE("Benjamini and Hochberg's own example") {
    // J. R. Stat. Soc. B 57 (1995) 289, section 3.2, from memory: 15 ordered p values; at 5 % the first four
    // are kept, where Bonferroni's keeps three.
    const double p[] = {0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344,
                        0.0459, 0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000};
    CHECK(compare::discovery_limit(p, 0.05) == 0.0095);
    CHECK(compare::discovery_limit({}, 0.05) == 0);
    const double none[] = {0.2, 0.6};
    CHECK(compare::discovery_limit(none, 0.05) == 0);
}

TEST_CASE("two-sided chance of the normal distribution") {
    CHECK(std::abs(compare::two_sided_p(1.959964) - 0.05) < 1e-7); // JCGM 100:2008, G.1: k_95 = 1.960
    CHECK(compare::two_sided_p(0) == 1);
}

TEST_CASE("false discoveries at most one in twenty, changes of 4 u and more found nine times in ten") {
    Discoveries sum;
    for (std::uint64_t seed = 7401; seed < 7441; ++seed) {
        const DrawnRecords drawn = drawn_records(seed, 45, 4);
        const Comparison comparison = compare_boards(drawn.old_board, drawn.revised_board);
        REQUIRE(comparison.alignment.fit);
        sum.add(drawn, comparison);
    }
    REQUIRE(sum.large > 300);
    CHECK(sum.falsely <= 0.05 * sum.shown);
    CHECK(sum.large_shown >= 0.9 * sum.large);
}

TEST_CASE("nothing changed: nothing shown on 19 boards of 20") {
    int boards_with_claims = 0;
    for (std::uint64_t seed = 7501; seed < 7541; ++seed) {
        const DrawnRecords drawn = drawn_records(seed, 30, 0);
        Discoveries sum;
        sum.add(drawn, compare_boards(drawn.old_board, drawn.revised_board));
        boards_with_claims += sum.shown > 0 ? 1 : 0;
    }
    // Where all claims are false, the rate is the chance of any claim: 2 of 40, and 3 sigma of sqrt(40 x
    // 0.05).
    CHECK(boards_with_claims <= 6);
}

TEST_CASE("each kind of change is named, and only where it is") {
    Boards boards;
    boards.revised(2).x_px += 12;
    boards.revised(3) =
        record_hole("H3", {boards.old(3).x_px, boards.old(3).y_px}, 140, 20, 0.025, 0.002, 0.05);
    boards.revised(4).keepout.min_px = Estimate::of(33, 0.05);
    boards.revised(4).keepout.min_mm = boards.revised(4).keepout.min_px.scaled(0.025, 0.002);
    boards.revised(5).wall.state = WallState::plated;
    boards.revised(6).shape.state = HoleShape::out_of_round;
    boards.revised(7).wall.state = WallState::undecided; // no claim
    const Comparison comparison = boards.compared();
    REQUIRE(comparison.alignment.fit);
    using Words = std::vector<std::string>;
    CHECK(pair_of(comparison, "H1").change.empty());
    CHECK(pair_of(comparison, "H2").change == Words{"moved"});
    CHECK(pair_of(comparison, "H3").change == Words{"resized"});
    CHECK(pair_of(comparison, "H4").change == Words{"wider"});
    CHECK(pair_of(comparison, "H5").change == Words{"plated"});
    CHECK(pair_of(comparison, "H6").change == Words{"reshaped"});
    CHECK(pair_of(comparison, "H7").change.empty());
    const Delta* ring = pair_of(comparison, "H4").find("keepout_min_mm");
    REQUIRE(ring != nullptr);
    CHECK(std::abs(ring->value.value() - 13 * 0.025) < 1e-9);
    CHECK(comparison.answer.find("1 with a wider ring") != std::string::npos);
}

TEST_CASE("dropped and added are claimed only where the other picture looks") {
    Boards boards;
    boards.revised_board.holes.erase(boards.revised_board.holes.begin() + 4);
    const HoleRecord extra = record_hole("H90", {2000, 150}, 60, 20, 0.025, 0.002, 0.05);
    boards.revised_board.holes.push_back(extra);
    Comparison comparison = boards.compared();
    CHECK(pair_of(comparison, "H5").has("dropped"));
    CHECK(comparison.pairs.back().has("added"));
    CHECK(comparison.pairs.back().revised_id == "H90");

    auto& holes = boards.revised_board.holes;
    const auto last = std::max_element(holes.begin(), holes.end(),
                                       [](const auto& a, const auto& b) { return a.x_px < b.x_px; });
    const HoleRecord cut_off = *last;
    holes.erase(last);
    boards.revised_board.sources.front().width_px = static_cast<int>(cut_off.x_px) + 20; // cuts the hole
    comparison = boards.compared();
    REQUIRE(comparison.alignment.fit);
    const HoleChange& cut = pair_of(comparison, cut_off.id);
    CHECK(cut.change.empty());
    REQUIRE(cut.notes.size() == 1);
    CHECK(cut.notes.front().find("not in view") != std::string::npos);
}

TEST_CASE("a ring against none within the searched distance is a bound") {
    Boards boards;
    KeepOutRecord& none = boards.revised(4).keepout;
    none.state = KeepOutState::none_in_view;
    none.min_px = none.min_mm = Estimate::missing("no other copper in view");
    none.searched_to_mm = 2;
    const Comparison comparison = boards.compared();
    const HoleChange& pair = pair_of(comparison, "H4");
    CHECK(pair.change == std::vector<std::string>{"wider"});
    CHECK_FALSE(pair.find("keepout_min_mm")->value);
    CHECK(pair.find("keepout_min_mm")->value.why().find("at least 1.50 mm") != std::string::npos);
    none.searched_to_mm = 0.4; // less than the ring was: nothing can be said
    const Comparison nothing = boards.compared();
    CHECK(pair_of(nothing, "H4").change.empty());
}

TEST_CASE("what both scales have in common cancels only where the holes tie them") {
    Boards boards;
    const auto u_of = [&] {
        return pair_of(compare_boards(boards.old_board, boards.revised_board), "H1")
            .find("bore_mm")
            ->value.u();
    };
    // 3.3 mm, both scales 0.2 %: independent 9.3 um; tied, the stretch of 0.05 % stays: 1.65 um, and the two
    // fits of 0.05 px: 1.77 um.
    CHECK(std::abs(u_of() - std::hypot(3.3 * 5e-4, std::sqrt(2.0) * 0.05 * 0.025)) < 2e-5);
    boards.old_board.holes.resize(7), boards.revised_board.holes.resize(7); // too few to tie
    CHECK(std::abs(u_of() - std::hypot(std::sqrt(2.0) * 3.3 * 0.002, std::sqrt(2.0) * 0.05 * 0.025)) < 1e-6);
}

TEST_CASE("scales that contradict each other are said, and count in full") {
    Boards boards;
    for (HoleRecord& hole : boards.revised_board.holes)
        hole.bore_mm = hole.bore_px.scaled(0.0255, 0.002);
    boards.revised_board.sources.front().pixel_mm = Estimate::of(0.0255, 0.0255 * 0.002);
    boards.revised_board.sources.front().pixel_xy_mm = {0.0255, 0.0255};
    const Comparison comparison = boards.compared();
    REQUIRE(comparison.alignment.fit);
    CHECK(std::abs(comparison.scale.value() - 1.02) < 1e-6);
    CHECK(comparison.answer.find("scales contradict each other") != std::string::npos);
}

TEST_CASE("no scale on one side: px are compared, mm are missing with the reason") {
    Boards boards;
    boards.revised_board.sources.front().pixel_mm = Estimate::missing("no scale was given");
    boards.revised_board.sources.front().pixel_xy_mm.reset();
    for (HoleRecord& hole : boards.revised_board.holes)
        hole.bore_mm = hole.keepout.min_mm = Estimate::missing("no scale was given");
    boards.revised(3).bore_px = Estimate::of(141, 0.05);
    const Comparison comparison = boards.compared();
    REQUIRE(comparison.alignment.fit);
    const HoleChange& pair = pair_of(comparison, "H3");
    CHECK(pair.change == std::vector<std::string>{"resized"});
    CHECK(std::abs(pair.find("bore_px")->value.value() - 9) < 1e-3);
    CHECK_FALSE(pair.find("bore_mm")->value);
    CHECK_FALSE(comparison.scale);
    CHECK(comparison.answer.find("no millimetres are compared") != std::string::npos);
}

TEST_CASE("the same picture twice, unrelated boards, no holes: said in words") {
    Boards boards;
    const Comparison twice = compare_boards(boards.old_board, boards.old_board);
    REQUIRE(twice.alignment.fit);
    CHECK(twice.answer.find("same picture") != std::string::npos);
    for (const HoleChange& pair : twice.pairs)
        CHECK(pair.change.empty());

    BoardRecord other = record_board("C", 0.025, 0.002);
    phantom::Random random(72);
    for (int i = 1; i <= 12; ++i)
        other.holes.push_back(record_hole("H" + std::to_string(i),
                                          {random.between(300, 3700), random.between(300, 2700)}, 132, 20,
                                          0.025, 0.002, 0.05));
    const Comparison unrelated = compare_boards(boards.old_board, other);
    CHECK_FALSE(unrelated.alignment.fit);
    CHECK(unrelated.pairs.empty());
    CHECK(unrelated.why_nothing.find("--pair") != std::string::npos);
    CHECK(unrelated.answer.find("no hole was compared") != std::string::npos);

    const Comparison empty = compare_boards(boards.old_board, BoardRecord());
    CHECK_FALSE(empty.why_nothing.empty());
}

TEST_CASE("pairs by hand name holes that exist") {
    Boards boards;
    CompareOptions options;
    options.by_hand = {{"H1", "H1"}, {"H2", "H2"}, {"H3", "H3"}};
    CHECK(compare_boards(boards.old_board, boards.revised_board, options).alignment.by_hand);
    options.by_hand = {{"H1", "H77"}, {"H2", "H2"}};
    CHECK_THROWS_AS(compare_boards(boards.old_board, boards.revised_board, options), Error);
}

TEST_CASE("layers counted as at least, and thickness") {
    Boards boards;
    boards.old_board.copper_layers.value = 4;
    boards.revised_board.copper_layers.at_least = 6;
    boards.old_board.thickness_mm = Estimate::of(1.6, 0.01);
    boards.revised_board.thickness_mm = Estimate::of(1.615, 0.01);
    Comparison comparison = boards.compared();
    CHECK_FALSE(comparison.board.layers);
    CHECK(comparison.board.layers_at_least == 2);
    CHECK(comparison.board.thickness_beyond == false); // 15 um against U of 28
    boards.revised_board.copper_layers.at_least = 3;   // may be four
    boards.revised_board.thickness_mm = Estimate::of(1.63, 0.01);
    comparison = boards.compared();
    CHECK_FALSE(comparison.board.layers_at_least);
    CHECK(comparison.board.thickness_beyond == true);
}

TEST_CASE("the answer never promises") {
    Boards boards;
    boards.revised(4).keepout.min_mm = Estimate::of(0.9, 0.01);
    const std::string answer = boards.compared().answer;
    for (const char* word : {"safe", "fixed", "enough", "improved", " ok"})
        CHECK(answer.find(word) == std::string::npos);
    CHECK(answer.find("one sample says almost nothing") != std::string::npos);
}

TEST_CASE("comparison.json and changes.csv hold what the contract names") {
    Boards boards;
    boards.revised(2).x_px += 12;
    Comparison comparison = boards.compared();
    comparison.old_board.results = "a", comparison.revised_board.results = "b";
    const std::string json = to_json(comparison, boards.old_board, boards.revised_board);
    for (const char* key : {"\"schema\": 1",
                            "\"program\"",
                            "\"old\"",
                            "\"revised\"",
                            "\"alignment\"",
                            "\"revised_px_from_old_px\"",
                            "\"mirrored\": false",
                            "\"rotation_deg\"",
                            "\"scale\"",
                            "\"residual_px\"",
                            "\"residual_mm\"",
                            "\"common_px_mm\"",
                            "\"common_holes\": 11",
                            "\"ambiguity\"",
                            "\"by\": \"holes\"",
                            "\"pairs\"",
                            "\"change\": [\"moved\"]",
                            "\"delta\"",
                            "\"beyond_uncertainty\"",
                            "\"copper_layers\"",
                            "\"areas\": null",
                            "\"areas_why\": \"not in this version\"",
                            "\"series\": []",
                            "\"units\": null",
                            "\"answer\""}) {
        INFO(key);
        CHECK(json.find(key) != std::string::npos);
    }
    const std::string csv = to_csv(comparison, boards.old_board, boards.revised_board);
    CHECK(std::count(csv.begin(), csv.end(), '\n') == 13);
    const std::string head = csv.substr(0, csv.find('\n')),
                      row = csv.substr(head.size() + 1, csv.find('\n', head.size() + 1) - head.size() - 1);
    CHECK(std::count(head.begin(), head.end(), ',') == std::count(row.begin(), row.end(), ','));
}
