// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>

namespace ringwall {

/// What the number of units examined says about those that were not.
struct SampleStatement {
    std::optional<double> upper_share; ///< of units failing, one-sided; missing: the units support no share
    std::string sentence;              ///< for the page; never a comfort
};

/// `failing` of `units` (>= 1) examined units fail, each in one and the same sense that the page names.
/// `chosen`: how they came to be examined, as the case file says. Only "random", "at random", "drawn at
/// random" or "randomly" (any case) counts as drawn at random from one lot; everything else, and nothing
/// said, supports no share at all: returned units come back because they failed. The share's limit is the
/// exact binomial one (core/binomial.hpp), for a lot much larger than the sample; of a lot of `lot_size`
/// units (not less than `units`; not more than 100 000, else it counts as large) it is the exact
/// hypergeometric one, and whole units are said. 0 < confidence < 1.
SampleStatement sample_statement(int units, int failing, const std::string& chosen, double confidence,
                                 std::optional<int> lot_size = {});

} // namespace ringwall
