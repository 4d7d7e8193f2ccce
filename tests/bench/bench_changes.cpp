// SPDX-License-Identifier: Apache-2.0
// Drawn pairs of records, a third of the holes changed in place, bore or ring by 4 to 8 standard
// uncertainties (then the same with nothing changed): changes shown, false ones among them, large ones found.
//
//   bench_changes [PAIRS] [FIRST_SEED]     a markdown table on standard output
#include "compare/drawn_records.hpp"

#include <cstdio>
#include <cstdlib>

using namespace ringwall;
using namespace ringwall::test;

int main(int argc, char** argv) {
    const int pairs = argc > 1 ? std::atoi(argv[1]) : 200;
    const std::uint64_t first = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 13001;
    std::printf("| condition | pairs aligned | changes shown | false among them | boards with a false one | "
                "changes of 4 u and more | of them shown |\n|---|---|---|---|---|---|---|\n");
    for (const double least_u : {4.0, 0.0}) {
        Discoveries sum;
        int aligned = 0, boards_with_false = 0;
        for (int i = 0; i < pairs; ++i) {
            const DrawnRecords drawn = drawn_records(first + static_cast<std::uint64_t>(i), 45, least_u);
            const Comparison comparison = compare_boards(drawn.old_board, drawn.revised_board);
            aligned += comparison.alignment.fit ? 1 : 0;
            const int before = sum.falsely;
            sum.add(drawn, comparison);
            boards_with_false += sum.falsely > before ? 1 : 0;
        }
        std::printf("| %s | %d of %d | %d | %d | %d | %d | %d |\n",
                    least_u > 0 ? "a third of 45 holes changed" : "nothing changed", aligned, pairs,
                    sum.shown, sum.falsely, boards_with_false, sum.large, sum.large_shown);
    }
}
