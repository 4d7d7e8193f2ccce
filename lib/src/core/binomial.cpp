// SPDX-License-Identifier: Apache-2.0
#include "core/binomial.hpp"

#include "core/special.hpp"
#include "core/statistics.hpp"
#include "core/student.hpp"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>

namespace ringwall {
namespace {

/// Logarithm of the density of s / sigma, the root of chi-square over its degrees of freedom, up to a
/// constant that is taken so that it is 0 at the peak: the constant is divided out by the integral.
double log_scatter_density(double s, double dof, double peak) {
    const double powers = dof > 1 ? (dof - 1) * std::log(s / peak) : 0;
    return powers - 0.5 * dof * (s * s - peak * peak);
}

struct Weighted {
    double weight = 0, with_normal = 0;
};

/// Simpson's rule for the density of s and for density times normal_cdf(t s - shift).
Weighted simpson(double from, double to, double t, double shift, double dof, double peak) {
    constexpr int panels = 1000;
    Weighted sum;
    if (!(to > from)) return sum;
    const double step = (to - from) / panels;
    for (int i = 0; i <= panels; ++i) {
        const double s = from + i * step;
        const double rule = (i == 0 || i == panels ? 1 : (i % 2 == 1 ? 4 : 2)) * step / 3;
        const double density = s > 0 || dof <= 1 ? std::exp(log_scatter_density(s, dof, peak)) : 0;
        sum.weight += rule * density;
        sum.with_normal += rule * density * normal_cdf(t * s - shift);
    }
    return sum;
}

/// P(noncentral t <= t), t > 0. The normal's step, of width 1/t, gets panels of its own.
double noncentral_t_cdf(double t, double shift, double dof) {
    const double peak = dof > 1 ? std::sqrt((dof - 1) / dof) : 0;
    const double width = 1 / std::sqrt(2 * dof);
    const double first = std::max(0.0, peak - 12 * width), last = peak + 14 * width;
    const double step = shift / t, half = 9 / t;
    const std::array<double, 4> cuts{first, std::clamp(step - half, first, last),
                                     std::clamp(step + half, first, last), last};
    Weighted sum;
    for (std::size_t i = 0; i + 1 < cuts.size(); ++i) {
        const Weighted part = simpson(cuts[i], cuts[i + 1], t, shift, dof, peak);
        sum.weight += part.weight;
        sum.with_normal += part.with_normal;
    }
    return sum.with_normal / sum.weight;
}

double log_choose(int n, int k) {
    return std::lgamma(n + 1.0) - std::lgamma(k + 1.0) - std::lgamma(n - k + 1.0);
}

/// P(at most `events` of `n` drawn) when `showing` of the `lot` units show the event.
double chance_of_at_most(int events, int n, int lot, int showing) {
    double chance = 0;
    for (int k = std::max(0, n - (lot - showing)); k <= std::min(events, showing); ++k)
        chance += std::exp(log_choose(showing, k) + log_choose(lot - showing, n - k) - log_choose(lot, n));
    return chance;
}

/// Logarithms of factorials carry about this much of a chance: an exact tie must not be lost by it.
constexpr double tie = 1e-9;

} // namespace

LotLimits lot_limits_one_sided(int events, int n, int lot, double confidence) {
    assert(n >= 1 && events >= 0 && events <= n && n <= lot && confidence > 0 && confidence < 1);
    const double risk = 1 - confidence - tie;
    // The chance falls as more units show the event: the last and the first count that are not ruled out.
    int most = events, over = lot - (n - events) + 1;
    while (over - most > 1) {
        const int middle = most + (over - most) / 2;
        (chance_of_at_most(events, n, lot, middle) >= risk ? most : over) = middle;
    }
    int fewest = most, under = events - 1;
    while (fewest - under > 1) {
        const int middle = under + (fewest - under) / 2;
        const double at_least = events == 0 ? 1 : 1 - chance_of_at_most(events - 1, n, lot, middle);
        (at_least >= risk ? fewest : under) = middle;
    }
    return {fewest, most};
}

ShareLimits clopper_pearson_one_sided(int events, int n, double confidence) {
    assert(n >= 1 && events >= 0 && events <= n && confidence > 0 && confidence < 1);
    const double k = events, rest = n - events;
    return {events == 0 ? 0 : beta_quantile(k, rest + 1, 1 - confidence),
            events == n ? 1 : beta_quantile(k + 1, rest, confidence)};
}

ShareLimits clopper_pearson(int events, int n, double confidence) {
    return clopper_pearson_one_sided(events, n, 0.5 + confidence / 2);
}

double zero_event_limit(int n, double confidence) {
    assert(n >= 1 && confidence > 0 && confidence < 1);
    return -std::expm1(std::log1p(-confidence) / n);
}

int units_without_event(double reliability, double confidence) {
    assert(reliability > 0 && reliability < 1 && confidence > 0 && confidence < 1);
    // A whole number of units must not become one more by the last bit of the logarithms.
    const double n = std::log1p(-confidence) / std::log(reliability);
    return std::max(1, static_cast<int>(std::ceil(n - 1e-9)));
}

double tolerance_factor(int n, double coverage, double confidence) {
    assert(n >= 2 && coverage >= 0.5 && coverage < 1 && confidence >= 0.5 && confidence < 1);
    const double root_n = std::sqrt(static_cast<double>(n)), shift = normal_quantile(coverage) * root_n;
    const auto probability = [&](double k) { return noncentral_t_cdf(k * root_n, shift, n - 1.0); };
    double low = 0, high = 1;
    for (; probability(high) < confidence && high < 1e6; high *= 2)
        low = high;
    for (int step = 0; step < 60 && high - low > 1e-10 * high; ++step) {
        const double middle = (low + high) / 2;
        (probability(middle) < confidence ? low : high) = middle;
    }
    return (low + high) / 2;
}

} // namespace ringwall
