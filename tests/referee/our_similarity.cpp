// SPDX-License-Identifier: Apache-2.0
// Lends the library's similarity fit to similarities.py: "mirrored x y u v weight ..." a line in, "a_x a_y
// b_x b_y" a line out.
#include "compare/similarity.hpp"

#include <cstdio>
#include <iostream>
#include <sstream>
#include <string>
#include <vector>

int main() {
    for (std::string line; std::getline(std::cin, line);) {
        std::istringstream words(line);
        int mirrored = 0;
        words >> mirrored;
        std::vector<ringwall::compare::WeightedPair> pairs;
        for (ringwall::compare::WeightedPair pair; words >> pair.old_px.x >> pair.old_px.y >>
                                                   pair.revised_px.x >> pair.revised_px.y >> pair.weight;)
            pairs.push_back(pair);
        const auto fit = ringwall::compare::fit_similarity(pairs, mirrored != 0);
        if (!fit) return 1;
        const ringwall::Similarity& s = fit->similarity;
        std::printf("%.17g %.17g %.17g %.17g\n", s.a_x, s.a_y, s.b_x, s.b_y);
    }
}
