// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/grey_scale.hpp"
#include "holes/pyramid.hpp"
#include "holes/regions.hpp"

#include <optional>

namespace ringwall::holes {

/// A round rim found by its steps alone, whatever level lies inside.
struct CoveredRim {
    Point centre_px;
    double radius_px = 0;
    double on_rim = 0; ///< share of the turn with a step on the circle
    double in_air = 0; ///< share of the turn with open beam just inside the circle
    double scatter_px = 0;
    double fall = 0; ///< median step, of ln T
};

/// The hole that a void region is the uncovered part of. Matter in front of a hole multiplies T, so that the
/// rim's step of ln T stays what it is in the open: rays from the middle of a circle through one of the
/// region's arcs are searched for such steps, and a circle is voted by all of them (twice, from the better
/// middle). Nothing where fewer than 7 in 10 directions have their step on the circle or air lies inside
/// fewer than 1 in 14.
std::optional<CoveredRim> covered_rim(const Pyramid& pyramid, const GreyScale& grey, const Region& region);

/// Metal in a hole that does not fill it wholly: a dense disk with a bright ring round it, brighter than
/// board all round, that ends on a circle. Returns the hole's rim; nothing else is known of it.
std::optional<Disk> rim_round_pin(const Pyramid& pyramid, const GreyScale& grey, const Disk& pin);

} // namespace ringwall::holes
