// SPDX-License-Identifier: Apache-2.0
#include "core/binomial.hpp"
#include "core/sample_size.hpp"
#include "core/statistics.hpp"

#include <array>
#include <bit>
#include <cmath>
#include <doctest/doctest.h>
#include <tuple>
#include <utility>

using namespace ringwall;

namespace {

struct Row {
    int events, n;
    double low, high;
};

bool has(const std::string& text, const char* part) {
    return text.find(part) != std::string::npos;
}

} // namespace

TEST_CASE("Clopper-Pearson limits of published rows") {
    // Two-sided 95 %. 81 of 263 is the worked row of R. G. Newcombe, Statistics in Medicine 17 (1998) 857
    // (from memory), the others as tables print them; all recomputed with SciPy's beta quantile. To the last
    // digit.
    for (const Row& row : {Row{0, 1, 0, .975},
                           {0, 2, 0, .8419},
                           {0, 3, 0, .7076},
                           {0, 5, 0, .5218},
                           {0, 10, 0, .3085},
                           {1, 1, .025, 1},
                           {1, 2, .0126, .9874},
                           {1, 3, .0084, .9057},
                           {2, 2, .1581, 1},
                           {3, 3, .2924, 1},
                           {5, 5, .4782, 1},
                           {1, 10, .0025, .4450},
                           {2, 10, .0252, .5561},
                           {5, 10, .1871, .8129},
                           {10, 10, .6915, 1},
                           {1, 30, .0008, .1722},
                           {0, 59, 0, .0606},
                           {0, 100, 0, .0362},
                           {81, 263, .2527, .3676}}) {
        CAPTURE(row.events);
        CAPTURE(row.n);
        const ShareLimits limits = clopper_pearson(row.events, row.n, 0.95);
        CHECK(std::abs(limits.low - row.low) <= 5.1e-5);
        CHECK(std::abs(limits.high - row.high) <= 5.1e-5);
    }
    // Must not be the normal approximation (0 of 10 would be certain) nor Wilson's (1 of 10: .0179 to .4042).
    CHECK(clopper_pearson(1, 10, 0.95).low < 0.01);
}

TEST_CASE("Clopper-Pearson limits mean what they say") {
    // By definition the upper limit is the share at which `events` or fewer have the chance 1 - confidence:
    // the binomial sum, added up here.
    for (const auto& [events, n] : {std::pair{1, 10}, {3, 7}, {20, 60}}) {
        const double share = clopper_pearson_one_sided(events, n, 0.9).high;
        double chance = 0, term = std::pow(1 - share, n);
        for (int k = 0; k <= events; ++k) {
            chance += term;
            term *= share / (1 - share) * (n - k) / (k + 1);
        }
        CHECK(std::abs(chance - 0.1) < 1e-10);
        CHECK(std::abs(clopper_pearson_one_sided(n - events, n, 0.9).low - (1 - share)) < 1e-12); // mirrored
    }
}

TEST_CASE("none failing out of n, exactly") {
    // 1 - 0.05^(1/n), four digits; the rule of three, 3/n, would say .300 for 10.
    const std::array<std::pair<int, double>, 13> rows{{{1, .9500},
                                                       {2, .7764},
                                                       {3, .6316},
                                                       {5, .4507},
                                                       {6, .3930},
                                                       {10, .2589},
                                                       {20, .1391},
                                                       {29, .0981},
                                                       {30, .0950},
                                                       {45, .0644},
                                                       {59, .0495},
                                                       {100, .0295},
                                                       {299, .0100}}};
    for (const auto& [n, share] : rows) {
        CAPTURE(n);
        CHECK(std::abs(zero_event_limit(n, 0.95) - share) <= 5.1e-5);
        CHECK(std::abs(zero_event_limit(n, 0.95) - clopper_pearson_one_sided(0, n, 0.95).high) < 1e-12);
    }
}

TEST_CASE("units without a failing one that show a reliability") {
    // The usual table of success-run sizes, reliability/confidence (recomputed; common practice, no source).
    CHECK(units_without_event(0.90, 0.90) == 22);
    CHECK(units_without_event(0.90, 0.95) == 29);
    CHECK(units_without_event(0.95, 0.90) == 45);
    CHECK(units_without_event(0.95, 0.95) == 59);
    CHECK(units_without_event(0.99, 0.90) == 230);
    CHECK(units_without_event(0.99, 0.95) == 299);
    CHECK(units_without_event(0.5, 0.5) == 1); // exactly one unit, not two by the last bit
    CHECK(units_without_event(0.9, 0.19) == 2);
}

TEST_CASE("one-sided normal tolerance factors") {
    // 95 % coverage, 95 % confidence; NIST/SEMATECH e-Handbook 7.2.6.3 method, ISO 16269-6 tables (from
    // memory), recomputed with SciPy's noncentral t. To the printed digits.
    const std::array<std::pair<int, double>, 9> rows{{{2, 26.26},
                                                      {3, 7.656},
                                                      {4, 5.144},
                                                      {5, 4.203},
                                                      {6, 3.708},
                                                      {8, 3.187},
                                                      {10, 2.911},
                                                      {20, 2.396},
                                                      {30, 2.220}}};
    for (const auto& [n, k] : rows) {
        CAPTURE(n);
        CHECK(std::abs(tolerance_factor(n, 0.95, 0.95) - k) <= (n == 2 ? 0.0051 : 0.00051));
    }
    // Coverage a half: the limit is the mean's own, k = t / sqrt(n), Student's t in closed form for n = 2.
    const double t = std::tan(3.14159265358979323846 * 0.49);
    CHECK(std::abs(tolerance_factor(2, 0.5, 0.99) / (t / std::sqrt(2.0)) - 1) < 1e-6);
    // Many units: towards the normal quantile, from above.
    CHECK(tolerance_factor(100'000, 0.95, 0.95) > normal_quantile(0.95));
    CHECK(tolerance_factor(100'000, 0.95, 0.95) < normal_quantile(0.95) + 0.01);
}

namespace {

/// Share of all draws of `n` out of `lot` that hold at most `events` of the first `showing` units: counted
/// out.
double counted_chance(int events, int n, int lot, int showing) {
    int all = 0, few = 0;
    for (unsigned draw = 0; draw < 1U << static_cast<unsigned>(lot); ++draw) {
        if (std::popcount(draw) != n) continue;
        ++all;
        if (std::popcount(draw & ((1U << static_cast<unsigned>(showing)) - 1)) <= events) ++few;
    }
    return static_cast<double>(few) / all;
}

} // namespace

TEST_CASE("limits in a small lot, against every draw counted out") {
    constexpr double risk = 0.05;
    for (const auto& [events, n, lot] :
         {std::tuple{0, 1, 12}, {0, 4, 12}, {1, 4, 12}, {4, 4, 12}, {2, 6, 13}, {0, 10, 11}}) {
        CAPTURE(events);
        CAPTURE(n);
        const LotLimits limits = lot_limits_one_sided(events, n, lot, 1 - risk);
        CHECK(counted_chance(events, n, lot, limits.most) >= risk);
        if (limits.most < lot - (n - events)) CHECK(counted_chance(events, n, lot, limits.most + 1) < risk);
        CHECK(1 - counted_chance(events - 1, n, lot, limits.fewest) >= risk);
        if (limits.fewest > events) CHECK(1 - counted_chance(events - 1, n, lot, limits.fewest - 1) < risk);
    }
    CHECK(lot_limits_one_sided(0, 1, 20, 0.95).most == 19); // by hand: 1/20 is not under 5 %
    CHECK(lot_limits_one_sided(0, 1, 21, 0.95).most == 19); // 1/21 is
    CHECK(lot_limits_one_sided(0, 20, 20, 0.95).most == 0); // all were seen
    // A large lot: the exact binomial limit.
    CHECK(std::abs(lot_limits_one_sided(2, 30, 100'000, 0.95).most / 1e5 -
                   clopper_pearson_one_sided(2, 30, 0.95).high) < 2e-4);
}

TEST_CASE("one unit of a small lot") {
    const SampleStatement one = sample_statement(1, 0, "random", 0.95, 20);
    CHECK(one.upper_share == 0.95);
    CHECK(has(one.sentence, "one lot of 20"));
    CHECK(has(one.sentence, "as many as 19 of its 20 units may still fail (95 % confidence)"));
    CHECK(has(one.sentence, "almost nothing"));
    CHECK(has(sample_statement(2, 1, "random", 0.95, 40).sentence, "at least 1 and as many as 39 of its 40"));
    CHECK(has(sample_statement(3, 3, "random", 0.95, 3).sentence, "at least 3 and as many as 3 of its 3"));
    CHECK_FALSE(
        sample_statement(1, 0, "returned", 0.95, 20).upper_share); // a small lot makes no sample random
    CHECK(has(sample_statement(3, 0, "random", 0.95, 2).sentence,
              "large lot")); // a lot smaller than the sample
}

TEST_CASE("one unit drawn at random says almost nothing") {
    const SampleStatement one = sample_statement(1, 0, "random", 0.95);
    REQUIRE(one.upper_share);
    CHECK(std::abs(*one.upper_share - 0.95) < 1e-12);
    CHECK(has(one.sentence, "1 unit examined, none failing"));
    CHECK(has(one.sentence, "as high as 95 % (95 % confidence)"));
    CHECK(has(one.sentence, "almost nothing"));
    CHECK(has(one.sentence, "59 units"));
}

TEST_CASE("few units, and enough of them") {
    const SampleStatement few = sample_statement(3, 0, " Drawn at random ", 0.95);
    CHECK(has(few.sentence, "as high as 63.2 %")); // 1 - 0.05^(1/3) = 0.63160, a limit rounds upward
    CHECK(has(few.sentence, "large lot"));
    const SampleStatement many = sample_statement(59, 0, "random", 0.95);
    CHECK(std::abs(many.upper_share.value() - 0.0495) < 1e-4);
    CHECK_FALSE(has(many.sentence, "would be needed"));
    const SampleStatement some = sample_statement(10, 1, "random", 0.975);
    CHECK(has(some.sentence, "at least 0.2 %")); // Clopper-Pearson [.0025, .4450]
    CHECK(has(some.sentence, "as high as 44.6 %"));
    CHECK(sample_statement(2, 2, "random", 0.95).upper_share == 1.0);
}

TEST_CASE("units that were not drawn at random support no share") {
    for (const char* chosen :
         {"", "returned", "chosen", "not random", "random walk through the shop", "bought"})
        for (const int failing : {0, 1}) {
            const SampleStatement said = sample_statement(1, failing, chosen, 0.95);
            CAPTURE(said.sentence);
            CHECK_FALSE(said.upper_share);
            CHECK(has(said.sentence, "no share"));
            CHECK_FALSE(has(said.sentence, "%"));
            CHECK_FALSE(has(said.sentence, "safe"));
        }
    CHECK(has(sample_statement(1, 0, "", 0.95).sentence, "nothing says how it was chosen"));
    CHECK(has(sample_statement(4, 4, "returned", 0.95).sentence, "they were returned, not drawn at random"));
    CHECK(has(sample_statement(4, 4, "returned", 0.95).sentence, "the fault exists"));
}
