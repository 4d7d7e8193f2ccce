// SPDX-License-Identifier: Apache-2.0
#include "compare/drawn_pairs.hpp"
#include "compare/similarity.hpp"
#include "ringwall/error.hpp"

#include <doctest/doctest.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

Similarity turned(double degrees, double scale, double x, double y, bool mirrored) {
    const double angle = degrees * std::numbers::pi / 180;
    return {scale * std::cos(angle), scale * std::sin(angle), x, y, mirrored};
}

std::vector<AlignHole> holes_at(const std::vector<Point>& points, double bore_px = 40) {
    std::vector<AlignHole> holes;
    for (const Point& point : points)
        holes.push_back({point, 0.05, bore_px});
    return holes;
}

/// The same holes on the revised board, noiseless.
AlignRequest carried(const std::vector<Point>& points, const Similarity& by) {
    AlignRequest request;
    request.old_holes = holes_at(points);
    std::vector<Point> revised;
    for (const Point& point : points)
        revised.push_back(by(point));
    request.revised_holes = holes_at(revised);
    return request;
}

const std::vector<Point> scattered = {{100, 120}, {3100, 150}, {180, 2080},  {2900, 2210},
                                      {740, 910}, {1530, 333}, {2210, 1480}, {1290, 1770}};

} // namespace

TEST_CASE("a similarity carries points there and back") {
    for (const bool mirrored : {false, true}) {
        const Similarity by = turned(33, 1.07, 250, -31, mirrored);
        const Point there = by({812, 340}), back = compare::inverse(by, there);
        CHECK(std::abs(back.x - 812) < 1e-9);
        CHECK(std::abs(back.y - 340) < 1e-9);
        const Similarity through =
            compare::similarity_through({1, 2}, {30, -7}, by({1, 2}), by({30, -7}), mirrored);
        CHECK(std::abs(through.a_x - by.a_x) < 1e-12);
        CHECK(std::abs(through.a_y - by.a_y) < 1e-12);
        CHECK(std::abs(through.b_x - by.b_x) < 1e-9);
        CHECK(std::abs(through.b_y - by.b_y) < 1e-9);
    }
}

TEST_CASE("any turn, mirrored or not, is found to rounding") {
    for (const bool mirrored : {false, true})
        for (double degrees = -175; degrees < 180; degrees += 35) {
            const Similarity by = turned(degrees, 1.1, -300, 4000, mirrored);
            const HoleAlignment found = align_holes(carried(scattered, by));
            REQUIRE(found.fit);
            CHECK(found.fit->similarity.mirrored == mirrored);
            CHECK(found.common.size() == scattered.size());
            CHECK(found.unmoved == scattered.size());
            CHECK(found.residual_px < 1e-8);
            CHECK(std::abs(found.fit->similarity.a_x - by.a_x) < 1e-11);
            CHECK(std::abs(found.fit->similarity.b_y - by.b_y) < 1e-7);
            CHECK(found.ambiguity < 0.7);
        }
}

TEST_CASE("half the holes changed: every pair right, none false, the place within what noise allows") {
    // 0.05 px a coordinate in both pictures: off by sqrt(2) 0.05 px at one hole; the fit over n holes is
    // better than that at each of them but for 1 in 1e6 (chi-squared, 4 parameters over n >= 20 holes:
    // sqrt(33 / 20) of it).
    const Revision half{0.25, 0.1, 0.3, 0.35};
    int refused = 0;
    for (std::uint64_t seed = 7001; seed < 7025; ++seed) {
        PairMaker maker(seed, half);
        const DrawnPair pair = maker.make(80 + (seed * 7) % 120);
        const HoleAlignment found = align_holes(pair.request);
        if (!found.fit) {
            CHECK(found.ambiguity == 1);
            CHECK(found.why.find("--pair") != std::string::npos);
            ++refused;
            continue;
        }
        const Scored scored = score(pair, maker.exact(), found);
        INFO("seed " << seed);
        CHECK(scored.false_pairs == 0);
        CHECK(scored.found == scored.kept);
        CHECK(scored.rms_px < std::sqrt(2.0) * 0.05 * std::sqrt(33.0 / 20));
        CHECK(found.residual_px < 0.13); // two coordinates of sqrt(2) 0.05 px: 0.1, over 20 holes + 3 sigma
    }
    CHECK(refused <= 2); // where a field of vias is most of a board
}

TEST_CASE("the same lists give the same bits") {
    PairMaker maker(7100, Revision{});
    const DrawnPair pair = maker.make(120);
    const HoleAlignment once = align_holes(pair.request), again = align_holes(pair.request);
    REQUIRE(once.fit);
    CHECK(once.fit->similarity == again.fit->similarity);
    CHECK(once.common == again.common);
}

TEST_CASE("a rectangle turns: the holes do not decide") {
    const std::vector<Point> rectangle = {{0, 0}, {2000, 0}, {0, 1200}, {2000, 1200}};
    const HoleAlignment found = align_holes(carried(rectangle, turned(20, 1, 5, 6, false)));
    CHECK_FALSE(found.fit);
    CHECK(found.ambiguity == 1);
    CHECK(found.why.find("--pair") != std::string::npos);
}

TEST_CASE("holes on a line mirror: the holes do not decide") {
    const std::vector<Point> line = {{0, 0}, {310, 155}, {1000, 500}, {1440, 720}, {2000, 1000}};
    const HoleAlignment found = align_holes(carried(line, turned(20, 1, 5, 6, false)));
    CHECK_FALSE(found.fit);
    CHECK(found.ambiguity == 1);
}

TEST_CASE("a grid does not slip by a pitch; one that nothing else holds is refused") {
    std::vector<Point> grid;
    for (int y = 0; y < 9; ++y)
        for (int x = 0; x < 14; ++x)
            grid.push_back({600.0 + 30 * x, 500.0 + 30 * y});
    const Similarity by = turned(-48, 0.95, 700, 300, true);
    CHECK_FALSE(align_holes(carried(grid, by)).fit);
    std::vector<Point> held = grid;
    held.insert(held.end(), scattered.begin(), scattered.begin() + 4);
    const HoleAlignment found = align_holes(carried(held, by));
    REQUIRE(found.fit);
    CHECK(found.common.size() == held.size());
    CHECK(std::abs(found.fit->similarity.b_x - 700) < 1e-6);
}

TEST_CASE("no hole, one and two in common are refused in words") {
    const std::vector<Point> other = {{55, 1900},  {990, 60},    {1710, 2400},
                                      {2505, 777}, {3333, 1999}, {40, 900}};
    for (const std::size_t common : {0U, 1U, 2U}) {
        AlignRequest request;
        request.old_holes = holes_at(scattered);
        std::vector<Point> revised(scattered.begin(), scattered.begin() + static_cast<int>(common));
        revised.insert(revised.end(), other.begin(), other.end());
        request.revised_holes = holes_at(revised);
        const HoleAlignment found = align_holes(request);
        INFO(common << " in common: " << found.why);
        CHECK_FALSE(found.fit);
        CHECK(found.ambiguity == 1);
        CHECK(found.why.find("--pair") != std::string::npos);
    }
    AlignRequest nothing;
    CHECK_FALSE(align_holes(nothing).fit);
    CHECK_FALSE(align_holes(nothing).why.empty());
}

TEST_CASE("boards of nothing in common are not laid on each other") {
    for (std::uint64_t seed = 7201; seed < 7217; ++seed) {
        AlignRequest request = PairMaker(seed, Revision{}).make(60).request;
        request.revised_holes = PairMaker(seed + 1000, Revision{}).make(60).request.revised_holes;
        INFO("seed " << seed);
        CHECK_FALSE(align_holes(request).fit);
    }
}

TEST_CASE("pairs given by hand go before what the holes say") {
    const std::vector<Point> rectangle = {{0, 0}, {2000, 0}, {0, 1200}, {2000, 1200}};
    const Similarity by = turned(20, 1, 5, 6, false);
    AlignRequest request = carried(rectangle, by);
    request.by_hand = {{0, 0}, {1, 1}, {2, 2}};
    const HoleAlignment found = align_holes(request);
    REQUIRE(found.fit);
    CHECK(found.by_hand);
    CHECK(found.common.size() == 4);
    CHECK(std::abs(found.fit->similarity.b_x - 5) < 1e-9);

    request.by_hand = {{0, 3}, {1, 2}, {2, 1}}; // half a turn further
    const HoleAlignment other = align_holes(request);
    REQUIRE(other.fit);
    CHECK(std::abs(other.fit->similarity.a_x + by.a_x) < 1e-9);
}

TEST_CASE("pairs given by hand that say too little or too much") {
    const std::vector<Point> rectangle = {{0, 0}, {2000, 0}, {0, 1200}, {2000, 1200}};
    AlignRequest request = carried(rectangle, turned(20, 1, 5, 6, false));
    request.by_hand = {{0, 0}};
    CHECK_FALSE(align_holes(request).fit); // turned by how much?
    request.by_hand = {{0, 0}, {1, 1}};    // mirrored about the line through both: two of four fit either way
    CHECK(align_holes(request).fit.has_value());
    request.by_hand = {{0, 0}, {1, 1}, {2, 3}};
    CHECK_THROWS_AS(align_holes(request), Error); // no similarity does that
    request.by_hand = {{0, 0}, {1, 0}};
    CHECK_THROWS_AS(align_holes(request), Error);
    AlignRequest line = carried({{0, 0}, {700, 0}, {2000, 0}}, turned(20, 1, 5, 6, false));
    line.by_hand = {{0, 0}, {1, 1}, {2, 2}};
    CHECK_FALSE(align_holes(line).fit); // mirrored or not: nothing off the line says
}

TEST_CASE("uncertainty of a mapped place is what Monte Carlo shows") {
    const Similarity by = turned(77, 1.05, 10, 20, false);
    const AlignRequest exact = carried(scattered, by);
    phantom::Random random(7300);
    const Point corner{3500, 2500};
    double sum = 0, u = 0;
    constexpr int trials = 400;
    for (int i = 0; i < trials; ++i) {
        std::vector<compare::WeightedPair> pairs;
        for (std::size_t k = 0; k < scattered.size(); ++k)
            pairs.push_back({scattered[k],
                             {exact.revised_holes[k].at_px.x + 0.1 * random.normal(),
                              exact.revised_holes[k].at_px.y + 0.1 * random.normal()},
                             100});
        const auto fit = compare::fit_similarity(pairs, false);
        REQUIRE(fit);
        sum += compare::distance2(fit->similarity(corner), by(corner)) / 2; // a coordinate
        u = fit->u_px(corner);
    }
    // The root of a mean of 2 x 400 squares is within 3 / sqrt(2 * 800) = 7.5 % of the truth.
    CHECK(std::abs(std::sqrt(sum / trials) / u - 1) < 0.075);
}
