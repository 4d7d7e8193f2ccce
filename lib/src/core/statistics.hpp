// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace ringwall {

/// z with P(Z <= z) = probability for a standard normal Z; 0 < probability < 1, error below 1e-12. The same
/// bits everywhere the C library's erfc and log agree. Start: P. J. Acklam's rational approximation (2003,
/// public note; coefficients from memory), then one Halley step on erfc, which alone decides the result's
/// accuracy.
double normal_quantile(double probability);

} // namespace ringwall
