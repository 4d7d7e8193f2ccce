// SPDX-License-Identifier: Apache-2.0
// A program of somebody else's: sees only the installed headers and the one library.
#include "ringwall/attenuation.hpp"
#include "ringwall/estimate.hpp"

#include <cmath>
#include <cstdio>

int main() {
    // NIST SRD 126 (Hubbell & Seltzer, NISTIR 5632), Table 3: copper at 60 keV, 1.593 cm2/g, times 8.96
    // g/cm3.
    const double expected_per_cm = 1.593 * 8.96;
    const double got_per_cm = ringwall::linear_attenuation_per_cm(ringwall::copper(), 60);
    std::printf("copper at 60 keV: %.4f per cm, expected %.4f\n", got_per_cm, expected_per_cm);
    const auto doubled = ringwall::Estimate::of(1.5, 0.1).scaled(2);
    return std::abs(got_per_cm / expected_per_cm - 1) < 2e-3 && doubled.value() == 3.0 ? 0 : 1;
}
