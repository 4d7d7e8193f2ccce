// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/hole.hpp"

namespace ringwall::rings {

/// The piece of copper a picture is judged by: the end of a narrow trace. 0.15 mm is the narrowest trace that
/// most boards carry, common practice, no source.
inline constexpr double trace_width_mm = 0.15, trace_length_mm = 0.30;

/// Least darkening, in T, at which the end of a trace would have been noticed beside this hole with 95 %
/// probability.
///
/// A strip of depth D blurred by a Gaussian keeps k D: in its middle k = erf(w / (2 sqrt(2) s)) erf(l / (2
/// sqrt(2) s)), in the mean over itself the overlap of the strip with its blurred self. Inside a fitted ring,
/// the log likelihood that its area A gains from being darker by `a` has the mean A (2 k D a - a^2) / (2
/// sigma^2) and the standard deviation a sqrt(A) / sigma. Without a ring k D must pass the smoothed picture's
/// threshold, by 1.645 sigma of it, and by more where the piece is too small to count by its area.
double least_darkening(const CopperSight& sight, double pixel_mm);

/// Probability, 0 to 1, that the end of a trace of this darkening, in T, would have been noticed beside this
/// hole.
double chance_of_notice(const CopperSight& sight, double pixel_mm, double darkening);

} // namespace ringwall::rings
