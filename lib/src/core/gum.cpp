// SPDX-License-Identifier: Apache-2.0
#include "core/gum.hpp"

#include "core/special.hpp"
#include "core/statistics.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

namespace ringwall {

Covariance Covariance::independent(std::span<const double> u) {
    Covariance result(u.size());
    for (std::size_t i = 0; i < u.size(); ++i)
        result.set(i, i, u[i] * u[i]);
    return result;
}

void Covariance::set(std::size_t i, std::size_t j, double covariance) {
    assert(i < inputs_ && j < inputs_);
    values_[i * inputs_ + j] = values_[j * inputs_ + i] = covariance;
}

void Covariance::correlate(std::size_t i, std::size_t j, double r) {
    assert(i != j && std::abs(r) <= 1);
    set(i, j, r * std::sqrt(at(i, i) * at(j, j)));
}

Covariance covariance_of_means(std::span<const std::vector<double>> series) {
    Covariance result(series.size());
    if (series.empty()) return result;
    const std::size_t n = series.front().size();
    assert(n >= 2);
    std::vector<double> means;
    for (const std::vector<double>& one : series) {
        assert(one.size() == n);
        means.push_back(mean_variance(one).mean);
    }
    for (std::size_t i = 0; i < series.size(); ++i)
        for (std::size_t j = i; j < series.size(); ++j) {
            double sum = 0;
            for (std::size_t k = 0; k < n; ++k)
                sum += (series[i][k] - means[i]) * (series[j][k] - means[j]);
            result.set(i, j, sum / (static_cast<double>(n) * static_cast<double>(n - 1)));
        }
    return result;
}

double combined_covariance(std::span<const double> a, std::span<const double> b, const Covariance& inputs) {
    assert(a.size() == inputs.inputs() && b.size() == inputs.inputs());
    double sum = 0;
    for (std::size_t i = 0; i < a.size(); ++i)
        for (std::size_t j = 0; j < b.size(); ++j)
            sum += a[i] * b[j] * inputs.at(i, j);
    return sum;
}

double combined_u(std::span<const double> sensitivities, const Covariance& inputs) {
    // Fully correlated inputs can cancel: rounding must not leave a negative variance.
    return std::sqrt(std::max(0.0, combined_covariance(sensitivities, sensitivities, inputs)));
}

double effective_dof(std::span<const Contribution> contributions) {
    double variance = 0, spread = 0;
    for (const Contribution& part : contributions) {
        const double square = part.u * part.u;
        variance += square;
        if (std::isfinite(part.dof)) spread += square * square / part.dof;
    }
    return spread > 0 ? variance * variance / spread : std::numeric_limits<double>::infinity();
}

double probability_above(double value, double u, double limit) {
    assert(u > 0);
    return normal_cdf((value - limit) / u);
}

double probability_between(double value, double u, double low, double high) {
    assert(u > 0 && low <= high);
    return normal_cdf((high - value) / u) - normal_cdf((low - value) / u);
}

SideOfLimit side_of_limit(double value, double u, double limit, double confidence) {
    const double above = probability_above(value, u, limit);
    if (above >= confidence) return SideOfLimit::above;
    return above <= 1 - confidence ? SideOfLimit::below : SideOfLimit::undecided;
}

} // namespace ringwall
