// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/record.hpp"

#include <string>

namespace ringwall {

/// One hole's record from its measurement in px and the picture's scale. `confidence`: 0.5 < P < 1, of
/// p_low_mm.
///
/// Uncertainties: u_mm^2 = (s u_px)^2 + (value u_scale)^2, s the factor of the direction (of the mean for
/// diameters). The lower quantile of the smallest gap keeps the fit's own spread below the value and adds the
/// scale's in quadrature. Pixels that are not square make a circle of the board an ellipse of the picture;
/// the difference adds a component "pixels not square" to roundness. Without a scale every mm value is
/// missing with the scale's reason.
HoleRecord record_of(const Hole& hole, const Scale& scale, double confidence, std::string id);

} // namespace ringwall
