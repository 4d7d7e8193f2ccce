// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"
#include "ringwall/screw.hpp"

#include <optional>
#include <string>

namespace ringwall {

/// Where the source stood when a picture was taken.
struct PictureGeometry {
    double source_to_board_mm = 0;        ///< to the board's mid-plane, on the central ray
    std::optional<Point> centre_px;       ///< where the central ray meets the picture; missing: not known
    std::optional<double> board_depth_mm; ///< of the board along the beam, edge-on
    bool operator==(const PictureGeometry&) const = default;
};

/// A hole that a person names. Exactly one of the two places is given.
struct CaseHole {
    std::optional<Point> at_px, at_mm; ///< any point inside the hole
    std::string name, purpose;         ///< "top left", "mounting"; empty: nothing said
    std::string screw_name;            ///< the screw of this hole; empty: that of the case
    bool no_screw = false;             ///< a person says that no screw sits here
    std::optional<Screw> screw;        ///< what `screw_name` stands for
    bool operator==(const CaseHole&) const = default;
};

/// A hole whose bore a person measured by hand to set the picture's scale.
struct ScaleHole {
    Point at_px; ///< any point inside the hole
    std::string name;
    double mm = 0;
    std::optional<double> u_mm; ///< k = 1
    bool operator==(const ScaleHole&) const = default;
};

/// What a person says of one copper layer, counted from the low-z face.
struct CaseLayer {
    int number = 0;
    std::string role;     ///< "live", "ground", "signal"
    std::string evidence; ///< how they know; without it the layer is treated as live
    bool operator==(const CaseLayer&) const = default;
};

} // namespace ringwall
