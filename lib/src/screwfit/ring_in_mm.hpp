// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "ringwall/hole.hpp"

#include <optional>
#include <string>
#include <vector>

namespace ringwall::screwfit {

/// Where the board's planes stand in the beam, for pictures whose geometry is known.
struct PlaneHeight {
    double source_to_board_mm = 0; ///< to the mid-plane, on the central ray
    double off_axis_mm = 0;        ///< from the central ray to the hole, in the board
    double board_mm = 0;           ///< thickness: a plane of unknown height lies anywhere in it
};

/// A component of a length's uncertainty, k = 1.
struct Component {
    std::string name;
    double u_mm = 0;
};

/// Where a ring lies in the board, in a slice stack.
struct LayerPlace {
    int number = 0;    ///< of the copper layer, from the low-z face
    double way_mm = 0; ///< to the further face of the board: a crooked screw pivots there at the worst
    bool low_face = false, high_face = false; ///< it is the board's outer copper on that side
    bool ground = false;                      ///< as a person states with evidence; else treated as live
};

/// One hole with its ring as the screw meets it, mm. Radii from the hole's centre.
struct RingInMm {
    std::optional<LayerPlace> layer; ///< missing: face-on, all layers together
    KeepOutState state = KeepOutState::undecided;
    std::string why; ///< of `undecided`
    bool bare = false, plated = false;
    double bore_mm = 0, drill_mm = 0;     ///< diameters
    std::optional<double> gap_mm;         ///< smallest gap from wall to copper that is not own
    std::string gap_why;                  ///< where there is none
    double gap_low_by_mm = 0;             ///< its (1 - P) quantile lies so far below it, by the fit alone
    std::vector<Component> fit;           ///< of the gap, from the picture
    double scale_relative_u = 0;          ///< common to every length of the picture
    std::optional<PlaneHeight> height;    ///< missing: within the scale's uncertainty
    std::optional<double> searched_to_mm; ///< radius out to which no copper was seen
    std::optional<double> own_outer_mm;   ///< radius of own copper's outer edge
    std::optional<double> largest_gap_not_excluded_mm; ///< of `touching`
    double seen_fraction = 1;
    /// How much nearer the copper comes to a screw of diameter d than the smallest gap says, because the hole
    /// is out of round and the screw wider than it there: [angle] wall radius and gap, only for holes out of
    /// round.
    struct Direction {
        double wall_mm = 0, gap_mm = 0;
    };
    std::vector<Direction> directions;
};

/// Nothing, with the reason, for a hole that a screw cannot be judged in: no scale, no bore, another kind.
struct RingOrReason {
    std::optional<RingInMm> ring;
    std::string why;
};
RingOrReason ring_in_mm(const Hole& hole, const Scale& scale);

} // namespace ringwall::screwfit
