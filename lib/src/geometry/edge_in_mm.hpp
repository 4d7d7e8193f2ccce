// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "geometry/scale.hpp"
#include "ringwall/hole.hpp"
#include "ringwall/stackup.hpp"
#include "ringwall/stated.hpp"

namespace ringwall {

/// What is stated of a board and its picture, in the px that the edge-on measurement works in. Without a
/// scale, copper's thickness stays unknown.
EdgeOptions edge_options(const Scale& scale, const std::optional<PictureGeometry>& geometry,
                         std::optional<double> foil_um, double thinnest_foil_um);

struct EdgeInMm {
    Estimate thickness_mm;
    std::vector<Estimate> layers_z_mm, barrels_mm;
    std::vector<BudgetLine> budget; ///< of thickness_mm; empty without a scale
    std::vector<std::string> notes; ///< for the reader
};

/// An edge-on view in mm. Lengths across the board take the scale of their direction. A barrel may stand
/// anywhere in the board's depth, so that with the distances stated its width has a component depth /
/// (sqrt(12) source distance); without them the notes say so.
EdgeInMm edge_in_mm(const EdgeView& view, const Scale& scale, const std::optional<PictureGeometry>& geometry);

} // namespace ringwall
