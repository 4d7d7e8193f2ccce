// SPDX-License-Identifier: Apache-2.0
#include "core/special.hpp"

#include "core/statistics.hpp"

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>

namespace ringwall {

namespace {

template<std::size_t N>
double polynomial(const std::array<double, N>& coefficients, double x) {
    double sum = 0;
    for (std::size_t i = N; i-- > 0;)
        sum = sum * x + coefficients[i];
    return sum;
}

} // namespace

double normal_density(double z) {
    return std::exp(-0.5 * z * z) * (0.5 * std::numbers::inv_sqrtpi * std::numbers::sqrt2);
}

double normal_cdf(double z) {
    return 0.5 * std::erfc(-z / std::numbers::sqrt2);
}

double bessel_i0_scaled(double x) {
    if (x < 3.75) {
        const double t = (x / 3.75) * (x / 3.75);
        return std::exp(-x) *
               polynomial(std::array{1.0, 3.5156229, 3.0899424, 1.2067492, 0.2659732, 0.0360768, 0.0045813},
                          t);
    }
    return polynomial(std::array{0.39894228, 0.01328592, 0.00225319, -0.00157565, 0.00916281, -0.02057706,
                                 0.02635537, -0.01647633, 0.00392377},
                      3.75 / x) /
           std::sqrt(x);
}

double bessel_i1_scaled(double x) {
    if (x < 3.75) {
        const double t = (x / 3.75) * (x / 3.75);
        return std::exp(-x) * x *
               polynomial(
                   std::array{0.5, 0.87890594, 0.51498869, 0.15084934, 0.02658733, 0.00301532, 0.00032411},
                   t);
    }
    return polynomial(std::array{0.39894228, -0.03988024, -0.00362018, 0.00163801, -0.01031555, 0.02282967,
                                 -0.02895312, 0.01787654, -0.00420059},
                      3.75 / x) /
           std::sqrt(x);
}

double chi_square_upper(double dof, double tail) {
    const double a = 2.0 / (9.0 * dof);
    const double root = 1 - a + normal_quantile(1 - tail) * std::sqrt(a);
    return dof * root * root * root;
}

} // namespace ringwall
