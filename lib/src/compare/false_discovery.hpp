// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>

namespace ringwall::compare {

/// Largest p that counts as a discovery when at most `rate` of all discoveries may be false on average:
/// Benjamini & Hochberg, J. R. Stat. Soc. B 57 (1995) 289 (step-up; independent tests or positively
/// dependent ones). 0: none.
double discovery_limit(std::span<const double> p, double rate);

/// Chance that |Z| passes z for a standard normal Z; z >= 0. One-sided: half of it.
double two_sided_p(double z);

} // namespace ringwall::compare
