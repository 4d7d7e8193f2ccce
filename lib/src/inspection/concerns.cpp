// SPDX-License-Identifier: Apache-2.0
#include "inspection/concerns.hpp"

namespace ringwall {

std::vector<std::string> warnings_of_facts(const SourceFacts& facts) {
    std::vector<std::string> warnings;
    if (facts.bits > 0 && facts.bits <= 8 && !facts.is_float) {
        warnings.push_back(
            "the picture has 8 bits or fewer a pixel: thin copper may be lost between two grey values");
    }
    if (facts.lossy) {
        warnings.push_back(
            "the picture went through lossy compression: edges and noise are not as the detector saw them");
    }
    if (facts.colour) {
        warnings.push_back(
            "the picture was in colour; grey was made of it, and burned-in marks may look like copper");
    }
    warnings.insert(warnings.end(), facts.notes.begin(), facts.notes.end());
    return warnings;
}

} // namespace ringwall
