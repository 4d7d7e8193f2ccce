// SPDX-License-Identifier: Apache-2.0
#include "holes/disk_profile.hpp"

#include "core/special.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {

namespace {

constexpr double reach_sigmas = 6.0; // D differs from 0 or 1 by less than 1e-9 beyond
constexpr double steps_per_sigma = 8.0;

double slope_at(double rho, double radius, double sigma) {
    const double z = (rho - radius) / sigma;
    return -(radius / (sigma * sigma)) * std::exp(-0.5 * z * z) *
           bessel_i1_scaled(rho * radius / (sigma * sigma));
}

double i0_over_i1(double x) {
    return x < 1e-9 ? 0.0 : bessel_i0_scaled(x) / bessel_i1_scaled(x);
}

/// The pixel's own area along the radius, averaged over the turn: variance 1/12, fourth cumulant
/// -(cos^4 + sin^4)/120 = -1/160 in the mean. Three points with these two; taking it all as Gaussian would
/// put barrels narrower than two pixels off by more than noise does, since only the shape tells a barrel's
/// level.
struct PixelArea {
    double offset = 0, weight = 0; // of each side
    double optics_sigma = 0;       // what is left for the Gaussian
    explicit PixelArea(double sigma) : optics_sigma(sigma) {
        constexpr double variance = 1.0 / 12, fourth = -1.0 / 160 + 3 * variance * variance;
        if (sigma * sigma < 2.5 * variance) return; // hardly any optics left: keep the plain Gaussian
        offset = std::sqrt(fourth / variance);
        weight = variance / (2 * offset * offset);
        optics_sigma = std::sqrt(sigma * sigma - variance);
    }
    template<typename Function>
    [[nodiscard]] double mean(double rho, Function f) const {
        return weight * (f(std::abs(rho - offset)) * (rho < offset ? -1 : 1) + f(rho + offset)) +
               (1 - 2 * weight) * f(rho);
    }
};

} // namespace

DiskProfile::DiskProfile(double radius_px, double sigma_px)
    : first_px_(std::max(0.0, radius_px - reach_sigmas * sigma_px)), step_px_(sigma_px / steps_per_sigma) {
    const PixelArea area(sigma_px);
    const auto slope = [&](double rho) {
        return area.mean(rho, [&](double r) { return slope_at(r, radius_px, area.optics_sigma); });
    };
    const double last = radius_px + reach_sigmas * sigma_px;
    const int count = static_cast<int>(std::ceil((last - first_px_) / step_px_)) + 1;
    const auto n = static_cast<std::size_t>(count);
    value_.assign(n, 0.0);
    slope_.resize(n);
    ratio_.resize(n);
    for (std::size_t i = 0; i < n; ++i) {
        const double rho = first_px_ + static_cast<double>(i) * step_px_;
        slope_[i] = slope(rho);
        // Near the axis I0/I1 grows like 2/x while the slope falls like x: their product stays finite.
        ratio_[i] = i0_over_i1(std::max(rho, 1e-3) * radius_px / (sigma_px * sigma_px));
    }
    for (std::size_t i = n - 1; i-- > 0;) {
        const double middle = slope(first_px_ + (static_cast<double>(i) + 0.5) * step_px_);
        value_[i] = value_[i + 1] - step_px_ / 6.0 * (slope_[i] + 4.0 * middle + slope_[i + 1]);
    }
}

DiskProfile::Sample DiskProfile::at(double rho_px) const {
    const double position = (rho_px - first_px_) / step_px_;
    if (position >= static_cast<double>(value_.size() - 1)) return {0, 0, 0};
    if (position < 0) return {1, 0, 0};
    const auto i = static_cast<std::size_t>(position);
    const double f = position - static_cast<double>(i);
    const double v0 = value_[i], v1 = value_[i + 1], m0 = slope_[i] * step_px_, m1 = slope_[i + 1] * step_px_;
    const double a = 2 * (v0 - v1) + m0 + m1, b = 3 * (v1 - v0) - 2 * m0 - m1;
    const double value = ((a * f + b) * f + m0) * f + v0;
    const double slope = ((3 * a * f + 2 * b) * f + m0) / step_px_;
    const double ratio = ratio_[i] + f * (ratio_[i + 1] - ratio_[i]);
    return {value, slope, -slope * ratio};
}

} // namespace ringwall
