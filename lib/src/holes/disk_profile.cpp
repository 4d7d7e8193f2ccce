// SPDX-License-Identifier: Apache-2.0
#include "holes/disk_profile.hpp"

#include "core/special.hpp"
#include "core/wide.hpp"

#include <bit>
#include <cmath>
#include <cstdint>

namespace ringwall {

namespace {

/// exp(x) for -700 < x <= 0 to the last digits, in a form that a compiler makes vectors of: x = n ln 2 + r, a
/// series in r, and n put into the exponent.
inline double exp_of_negative(double x) {
    constexpr double shift = 0x1.8p52; // its sum's last bits are the whole number
    const double shifted = x * 0x1.71547652b82fep+0 + shift, n = shifted - shift;
    const double r = (x - n * 0x1.62e42fefa3800p-1) - n * 0x1.ef35793c76730p-45; // ln 2 in two parts
    double sum = 1.0 / 6227020800;
    for (const double k : {1.0 / 479001600, 1.0 / 39916800, 1.0 / 3628800, 1.0 / 362880, 1.0 / 40320,
                           1.0 / 5040, 1.0 / 720, 1.0 / 120, 1.0 / 24, 1.0 / 6, 0.5, 1.0, 1.0})
        sum = sum * r + k;
    const auto exponent = std::bit_cast<std::uint64_t>(shifted) << 52;
    return std::bit_cast<double>(std::bit_cast<std::uint64_t>(sum) + exponent);
}

/// The large-argument forms of the scaled Bessel functions, without their 1/sqrt(x).
constexpr double bessel_series_from = 3.75;
inline double i0_series(double q) {
    double sum = 0.00392377;
    for (const double k :
         {-0.01647633, 0.02635537, -0.02057706, 0.00916281, -0.00157565, 0.00225319, 0.01328592, 0.39894228})
        sum = sum * q + k;
    return sum;
}
inline double i1_series(double q) {
    double sum = -0.00420059;
    for (const double k :
         {0.01787654, -0.02895312, 0.02282967, -0.01031555, 0.00163801, -0.00362018, -0.03988024, 0.39894228})
        sum = sum * q + k;
    return sum;
}

/// dD/drho of the plain Gaussian at many places, for arguments of I1 that are not small.
RINGWALL_WIDE void far_slopes(const double* rho, double* slope, std::size_t count, double radius,
                              double sigma) {
    const double inverse = 1 / sigma, scale = radius * inverse * inverse;
    for (std::size_t i = 0; i < count; ++i) {
        const double z = (rho[i] - radius) * inverse, x = std::max(rho[i] * scale, 1e-9);
        slope[i] = -scale * exp_of_negative(std::max(-0.5 * z * z, -690.0)) *
                   i1_series(bessel_series_from / x) / std::sqrt(x);
    }
}

RINGWALL_WIDE void far_ratios(const double* rho, double* ratio, std::size_t count, double scale) {
    for (std::size_t i = 0; i < count; ++i) {
        const double q = bessel_series_from / std::max(rho[i] * scale, 1e-9);
        ratio[i] = i0_series(q) / i1_series(q);
    }
}

void slopes(const double* rho, double* slope, std::size_t count, double radius, double sigma) {
    far_slopes(rho, slope, count, radius, sigma);
    const double scale = radius / (sigma * sigma);
    for (std::size_t i = 0; i < count && rho[i] * scale < bessel_series_from; ++i) {
        const double z = (rho[i] - radius) / sigma;
        slope[i] = -scale * std::exp(-0.5 * z * z) * bessel_i1_scaled(rho[i] * scale);
    }
}

/// I0 / I1. Near the axis it grows like 2/x while the slope falls like x: their product stays finite.
void ratios(const double* rho, double* ratio, std::size_t count, double radius, double sigma) {
    const double scale = radius / (sigma * sigma);
    far_ratios(rho, ratio, count, scale);
    for (std::size_t i = 0; i < count && rho[i] * scale < bessel_series_from; ++i) {
        const double x = std::max(rho[i], 1e-3) * scale;
        ratio[i] = x < 1e-9 ? 0.0 : bessel_i0_scaled(x) / bessel_i1_scaled(x);
    }
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
};

/// The slope with the pixel's area in it, at places that ascend.
template<std::size_t N>
void area_slopes(const std::array<double, N>& rho, std::array<double, N>& slope, std::size_t count,
                 double radius, const PixelArea& area) {
    slopes(rho.data(), slope.data(), count, radius, area.optics_sigma);
    if (area.weight == 0) return;
    std::array<double, N> inner, outer, at_inner, at_outer;
    for (std::size_t i = 0; i < count; ++i)
        inner[i] = std::abs(rho[i] - area.offset), outer[i] = rho[i] + area.offset;
    // Mirrored at the axis the places do not ascend: those few one by one, the rest as they come.
    std::size_t mirrored = 0;
    for (; mirrored < count && rho[mirrored] < area.offset; ++mirrored)
        slopes(&inner[mirrored], &at_inner[mirrored], 1, radius, area.optics_sigma);
    slopes(&inner[mirrored], &at_inner[mirrored], count - mirrored, radius, area.optics_sigma);
    slopes(outer.data(), at_outer.data(), count, radius, area.optics_sigma);
    for (std::size_t i = 0; i < count; ++i)
        slope[i] = area.weight * ((rho[i] < area.offset ? -at_inner[i] : at_inner[i]) + at_outer[i]) +
                   (1 - 2 * area.weight) * slope[i];
}

} // namespace

DiskProfile::DiskProfile(double radius_px, double sigma_px)
    : first_px_(std::max(0.0, radius_px - reach_sigmas * sigma_px)), per_px_(steps_per_sigma / sigma_px) {
    const double step = sigma_px / steps_per_sigma, end = radius_px + reach_sigmas * sigma_px;
    const auto n = std::min(static_cast<std::size_t>(std::ceil((end - first_px_) / step)) + 1, most_nodes);
    std::array<double, 2 * most_nodes> rho, slope; // nodes, and the middles between them
    std::array<double, most_nodes> node, ratio;
    for (std::size_t i = 0; i < 2 * n - 1; ++i)
        rho[i] = first_px_ + 0.5 * static_cast<double>(i) * step;
    for (std::size_t i = 0; i < n; ++i)
        node[i] = rho[2 * i];
    area_slopes(rho, slope, 2 * n - 1, radius_px, PixelArea(sigma_px));
    ratios(node.data(), ratio.data(), n, radius_px, sigma_px);
    cells_[0] = {.value = 1};
    cells_[n] = {};
    last_ = static_cast<double>(n);
    double outer = 0; // value at the cell's far end
    for (std::size_t i = n - 1; i-- > 0;) {
        const double m0 = slope[2 * i] * step, m1 = slope[2 * i + 2] * step;
        const double value = outer - (m0 + 4 * slope[2 * i + 1] * step + m1) / 6;
        cells_[i + 1] = {value,
                         m0,
                         3 * (outer - value) - 2 * m0 - m1,
                         2 * (value - outer) + m0 + m1,
                         ratio[i],
                         ratio[i + 1] - ratio[i]};
        outer = value;
    }
}

} // namespace ringwall
