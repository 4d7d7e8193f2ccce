// SPDX-License-Identifier: Apache-2.0
#include "core/student.hpp"

#include "core/special.hpp"
#include "core/statistics.hpp"

#include <cassert>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

namespace ringwall {
namespace {

constexpr double nearly_normal_dof = 1e6; ///< above, the logarithms of Gamma below lose what is wanted

/// Stirling's series, the argument carried above 10 first. The C library's lgamma writes a global sign.
double log_gamma(double x) {
    double shift = 1;
    for (; x < 10; x += 1)
        shift *= x;
    const double r = 1 / (x * x);
    const double series = (1.0 / 12 - r * (1.0 / 360 - r * (1.0 / 1260 - r * (1.0 / 1680 - r / 1188)))) / x;
    return (x - 0.5) * std::log(x) - x + 0.5 * std::log(2 * std::numbers::pi) + series - std::log(shift);
}

/// Coefficient k of the continued fraction, DLMF 8.17.23.
double fraction_term(int k, double a, double b, double x) {
    const int pair = k / 2; // two terms share one m
    const double m = pair;
    if (k % 2 == 0) return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
    return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));
}

/// 1 / (1 + d1 / (1 + d2 / ...)); converges in about sqrt(max(a, b)) steps for x < (a + 1) / (a + b + 2).
double continued_fraction(double a, double b, double x) {
    constexpr double tiny = 1e-300, enough = 1e-15;
    constexpr int most_steps = 100'000;
    double value = 1, c = 1, d = 0;
    for (int k = 1; k <= most_steps; ++k) {
        const double term = fraction_term(k, a, b, x);
        d = 1 + term * d;
        c = 1 + term / c;
        if (std::abs(d) < tiny) d = tiny;
        if (std::abs(c) < tiny) c = tiny;
        d = 1 / d;
        value *= c * d;
        if (std::abs(c * d - 1) < enough) break;
    }
    return 1 / value;
}

/// P(T > t) for t >= 0.
double student_upper_tail(double t, double dof) {
    const double square = t * t;
    if (std::isinf(square)) return 0;
    return 0.5 * incomplete_beta(dof / 2, 0.5, dof / (dof + square), square / (dof + square));
}

/// Where a falling function passes `level`, between low and high, to the last bits.
template<class Falling>
double bisect(const Falling& falling, double level, double low, double high) {
    for (int step = 0; step < 2000; ++step) {
        const double middle = low + (high - low) / 2;
        if (middle <= low || middle >= high) break;
        (falling(middle) > level ? low : high) = middle;
    }
    return low + (high - low) / 2;
}

MeanTest from_difference(double difference, double u, double dof, double confidence) {
    assert(confidence > 0 && confidence < 1);
    MeanTest test;
    if (!(u > 0)) {
        test.difference = Estimate::missing("the values do not scatter: the instrument did not resolve them");
        return test;
    }
    test.difference = Estimate::of(difference, u);
    test.t = difference / u;
    test.dof = dof;
    test.p_two_sided = 2 * student_cdf(-std::abs(test.t), dof);
    const double reach = student_quantile(0.5 + confidence / 2, dof) * u;
    test.low = difference - reach;
    test.high = difference + reach;
    return test;
}

MeanTest no_test(const char* why) {
    MeanTest test;
    test.difference = Estimate::missing(why);
    return test;
}

} // namespace

double incomplete_beta(double a, double b, double x, double rest) {
    assert(a > 0 && b > 0 && x >= 0 && rest >= 0);
    if (x <= 0) return 0;
    if (rest <= 0) return 1;
    const double front =
        std::exp(a * std::log(x) + b * std::log(rest) + log_gamma(a + b) - log_gamma(a) - log_gamma(b));
    if (x < (a + 1) / (a + b + 2)) return front * continued_fraction(a, b, x) / a;
    return 1 - front * continued_fraction(b, a, rest) / b;
}

double beta_quantile(double a, double b, double probability) {
    assert(probability >= 0 && probability <= 1);
    if (probability <= 0) return 0;
    if (probability >= 1) return 1;
    return bisect([&](double x) { return -incomplete_beta(a, b, x, 1 - x); }, -probability, 0, 1);
}

double student_cdf(double t, double dof) {
    assert(dof > 0);
    if (std::isinf(dof)) return normal_cdf(t);
    if (dof > nearly_normal_dof)
        return normal_cdf(t * (1 - 1 / (4 * dof)) / std::sqrt(1 + t * t / (2 * dof)));
    const double tail = student_upper_tail(std::abs(t), dof);
    return t > 0 ? 1 - tail : tail;
}

double student_quantile(double probability, double dof) {
    assert(probability > 0 && probability < 1 && dof > 0);
    if (probability == 0.5) return 0;
    if (dof > nearly_normal_dof) {
        const double z = normal_quantile(probability);
        return std::isinf(dof) ? z : z + (z * z * z + z) / (4 * dof);
    }
    const double tail = probability < 0.5 ? probability : 1 - probability;
    const auto upper = [&](double t) { return student_upper_tail(t, dof); };
    double high = 1;
    while (upper(high) > tail && high < 1e150)
        high *= 2;
    const double t = bisect(upper, tail, 0, high);
    return probability < 0.5 ? -t : t;
}

MeanTest welch_test(std::span<const double> first, std::span<const double> second, double confidence) {
    if (first.size() < 2 || second.size() < 2)
        return no_test("at least two values a side are needed: one has no scatter to judge a difference by");
    const MeanVariance a = mean_variance(first), b = mean_variance(second);
    const double va = a.variance / a.n, vb = b.variance / b.n;
    const double dof = (va + vb) * (va + vb) / (va * va / (a.n - 1) + vb * vb / (b.n - 1));
    return from_difference(a.mean - b.mean, std::sqrt(va + vb), dof, confidence);
}

MeanTest paired_test(std::span<const double> first, std::span<const double> second, double confidence) {
    if (first.size() != second.size())
        return no_test("values that belong together must be as many on both sides");
    if (first.size() < 2) return no_test("at least two pairs are needed: one has no scatter to judge by");
    std::vector<double> differences;
    for (std::size_t i = 0; i < first.size(); ++i)
        differences.push_back(first[i] - second[i]);
    const MeanVariance d = mean_variance(differences);
    return from_difference(d.mean, std::sqrt(d.variance / d.n), d.n - 1, confidence);
}

} // namespace ringwall
