// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace ringwall {

/// Density and distribution of the standard normal.
double normal_density(double z);
double normal_cdf(double z);

/// exp(-x) I0(x) and exp(-x) I1(x), x >= 0, relative error below 2e-7 (Abramowitz & Stegun 9.8.1-9.8.4, from
/// memory).
double bessel_i0_scaled(double x);
double bessel_i1_scaled(double x);

/// Upper `tail` point of chi-square with `dof` degrees of freedom (Wilson & Hilferty 1931; within 1 % for dof
/// >= 3).
double chi_square_upper(double dof, double tail);

} // namespace ringwall
