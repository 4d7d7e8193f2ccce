// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <functional>
#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// The hole that a person means: by the name that a case file gave it, else by its id; null when there is
/// none. A name goes before an id: drawings call their holes H1, H2 too.
const HoleRecord* hole_called(const BoardRecord& record, const std::string& called);

/// The screw judged in a hole, which may have one of its own; null: none.
using ScrewOfHole = std::function<const Screw*(const HoleRecord&)>;

/// Sets every length measured by hand beside the picture's value of the same: the bore or the drill diameter
/// of a hole, the board's thickness. They agree when they differ by no more than 2 hypot(u, u_picture), their
/// expanded uncertainties combined (k = 2, about 95 %: GUM 6.2 and G.6.6, from memory); without both u it
/// cannot be told. The bore of a hole that sets the picture's scale cannot be told either: a length is never
/// its own check. Screw, head and washer, which no picture of the board shows, are set beside the size
/// judged: a hole's own where the measurement names the hole, else the case's (`record.screw`); they agree
/// unless larger by more than 2 u.
std::vector<HandMeasured> beside_the_picture(const BoardRecord& record,
                                             std::span<const HandMeasured> measured,
                                             std::span<const ScaleHole> scale_holes = {},
                                             const ScrewOfHole& screw_of_hole = {});

/// One sentence a contradiction, for the warnings.
std::vector<std::string> contradictions(std::span<const HandMeasured> measured);

} // namespace ringwall
