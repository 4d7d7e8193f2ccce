// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/record.hpp"

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace ringwall {

/// One hole on its way through the stages.
struct HoleInWork {
    Hole hole;      ///< as fitted; the ring comes later
    int number = 0; ///< of its id
    std::optional<WallState> wall_by_person;
    bool struck_out = false;
};

/// Reading order: rows from top to bottom, left to right in a row. Two holes share a row when their heights
/// differ by less than 2 px from the row's highest hole: a drilled row measured with noise is still a row.
void put_in_reading_order(std::vector<HoleInWork>& holes);

/// For a sentence: what was decided and where.
std::string in_words(const Decision& decision);

/// Index of the hole in which a point lies: of the nearest, when several.
std::optional<std::size_t> hole_at(Point at_px, const std::vector<HoleInWork>& holes);

/// A person's decisions, applied in their order to the holes found (numbered already). An added hole is
/// fitted with `fit` and takes the next number, also when it is struck out later. A decision that meets no
/// hole, or adds one where one is, changes nothing and leaves a sentence in `notes`.
void apply_decisions(std::span<const Decision> decisions,
                     const std::function<Hole(const HoleCandidate&)>& fit, std::vector<HoleInWork>& holes,
                     std::vector<std::string>& notes);

/// Of all holes: hole or via. A plated hole under 0.8 mm is a via. Without a scale, nothing in mm can be
/// said: then a plated hole is a via when its bore is below a third of the widest bore in the picture.
void set_kinds(std::vector<HoleInWork>& holes, const Scale& scale);

} // namespace ringwall
