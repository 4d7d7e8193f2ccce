// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace ringwall {

/// Limits of a share, 0 to 1.
struct ShareLimits {
    double low = 0, high = 1;
};

/// Exact limits of the share in a large lot when `events` of `n` units drawn at random show it, by Clopper &
/// Pearson (Biometrika 26 (1934) 404, from memory): the true share is inside with at least `confidence`.
/// 0 <= events <= n, n >= 1, 0 < confidence < 1.
ShareLimits clopper_pearson(int events, int n, double confidence);
/// The same one-sided: each limit alone holds with `confidence`, both together do not.
ShareLimits clopper_pearson_one_sided(int events, int n, double confidence);
/// Upper limit of the share when none of n >= 1 shows it: 1 - (1 - confidence)^(1/n).
double zero_event_limit(int n, double confidence);
/// Fewest units, all without event, that show a share without event of at least `reliability`: smallest n
/// with reliability^n <= 1 - confidence. 0 < reliability, confidence < 1.
int units_without_event(double reliability, double confidence);
/// The same for a lot of `lot` units of which `n` were drawn without putting back (hypergeometric; exact):
/// fewest and most units of the whole lot that may show it, the ones drawn among them, each limit alone with
/// `confidence`. 0 <= events <= n <= lot, n >= 1, 0 < confidence < 1.
struct LotLimits {
    int fewest = 0, most = 0;
};
LotLimits lot_limits_one_sided(int events, int n, int lot, double confidence);

/// One-sided tolerance factor k of a normal population: mean - k s of n >= 2 units lies below at least
/// `coverage` of the population with `confidence`; both at least 0.5 and below 1. The noncentral t of n - 1
/// degrees of freedom, integrated over the distribution of s; error below 1e-6 of k for confidences up to
/// 0.99. Units must be drawn at random and be normal: two that agree by chance say little, and k shows it (26
/// for 2).
double tolerance_factor(int n, double coverage, double confidence);

} // namespace ringwall
