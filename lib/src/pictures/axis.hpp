// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

namespace ringwall {

struct Tick {
    double value = 0;
    std::string text; ///< to the step's last place
};
/// At round values (1, 2, 5 times a power of ten apart) from `low` to `high` (> low), at most `most` (>= 2).
std::vector<Tick> ticks(double low, double high, int most);

} // namespace ringwall
