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

} // namespace

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
