// SPDX-License-Identifier: Apache-2.0
// Hole lists of fresh random boards against their revisions: how often the placement is right, pairs right
// and false, how far off, how long it takes.
//
//   bench_align [PAIRS_A_CONDITION] [FIRST_SEED]     a markdown table on standard output
#include "compare/drawn_pairs.hpp"

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <string>

using namespace ringwall;
using namespace ringwall::test;

namespace {

struct Condition {
    std::string name;
    std::size_t least = 20, most = 250;
    Revision revision;
    bool scale_known = false;
    bool unrelated = false; ///< the revised list is another board's
};

std::vector<Condition> conditions() {
    Revision half{0.25, 0.1, 0.3, 0.35};
    Revision few = half;
    few.grids = false;
    Revision most{0.5, 0.1, 0.3, 0.6};
    Revision none{0, 0, 0, 0};
    Revision wide = half;
    wide.least_scale = 0.5, wide.most_scale = 2;
    return {
        {"half changed, scale free", 20, 250, half},       {"half changed, scale known", 20, 250, half, true},
        {"half changed, scale 0.5 to 2", 20, 250, wide},   {"8 to 20 holes, half changed", 8, 20, few},
        {"6 in 10 changed, as many added", 40, 250, most}, {"nothing changed", 8, 250, none},
        {"unrelated boards", 8, 250, half, false, true},   {"5000 holes, half changed", 5000, 5000, half}};
}

struct Sums {
    int pairs = 0, right = 0, wrong = 0, refused = 0;
    std::size_t found = 0, kept = 0, false_pairs = 0;
    double residual2 = 0, off2 = 0, worst = 0, longest = 0;
};

void add(Sums& sums, const Condition& condition, std::uint64_t seed) {
    phantom::Random random(seed, 5);
    const auto holes = static_cast<std::size_t>(
        random.whole(static_cast<int>(condition.least), static_cast<int>(condition.most)));
    PairMaker maker(seed, condition.revision);
    DrawnPair pair = maker.make(holes);
    const double scale = std::hypot(pair.truth.a_x, pair.truth.a_y);
    if (condition.scale_known) { // 1 % off, as stated
        pair.request.scale = scale * (1 + 0.01 * random.normal());
        pair.request.scale_relative_u = 0.01;
    }
    if (condition.unrelated)
        pair.request.revised_holes =
            PairMaker(seed + 500000, condition.revision).make(holes).request.revised_holes;
    const std::clock_t start = std::clock(); // the processor's: other work on the machine does not count
    const HoleAlignment alignment = align_holes(pair.request);
    const double took = static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC;
    sums.longest = std::max(sums.longest, took);
    ++sums.pairs;
    const Scored scored = score(pair, maker.exact(), alignment);
    if (!scored.aligned) {
        ++sums.refused;
        if (std::getenv("RINGWALL_BENCH_SAY") != nullptr)
            std::printf("  %llu: %zu holes: %s\n", static_cast<unsigned long long>(seed), holes,
                        alignment.why.c_str());
        return;
    }
    if (!scored.right_placement) {
        ++sums.wrong;
        if (std::getenv("RINGWALL_BENCH_SAY") != nullptr)
            std::printf("  %llu: %zu holes, %zu kept: WRONG by %.1f px, %zu common, ambiguity %.2f\n",
                        static_cast<unsigned long long>(seed), holes, scored.kept, scored.worst_px,
                        alignment.common.size(), alignment.ambiguity);
        return;
    }
    ++sums.right;
    sums.found += scored.found, sums.kept += scored.kept, sums.false_pairs += scored.false_pairs;
    sums.residual2 += alignment.residual_px * alignment.residual_px;
    sums.off2 += scored.rms_px * scored.rms_px;
    sums.worst = std::max(sums.worst, scored.worst_px);
}

} // namespace

int main(int argc, char** argv) {
    const int pairs = argc > 1 ? std::atoi(argv[1]) : 200;
    const std::uint64_t first = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 12001;
    std::printf(
        "| condition | placed right | refused | placed wrong | pairs found | false pairs | residual "
        "RMS px | off the truth RMS px (worst) | longest CPU s |\n|---|---|---|---|---|---|---|---|---|\n");
    for (const Condition& condition : conditions()) {
        Sums sums;
        const int count = condition.most > 1000 ? std::max(1, pairs / 20) : pairs;
        for (int i = 0; i < count; ++i)
            add(sums, condition, first + static_cast<std::uint64_t>(i));
        const double right = std::max(1, sums.right);
        std::printf("| %s | %d of %d | %d | %d | %zu of %zu | %zu | %.3f | %.3f (%.3f) | %.3f |\n",
                    condition.name.c_str(), sums.right, sums.pairs, sums.refused, sums.wrong, sums.found,
                    sums.kept, sums.false_pairs, std::sqrt(sums.residual2 / right),
                    std::sqrt(sums.off2 / right), sums.worst, sums.longest);
        std::fflush(stdout);
    }
}
