// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"
#include "ringwall/transmission.hpp"
#include "ringwall/watch.hpp"

#include <array>
#include <optional>
#include <string>
#include <vector>

namespace ringwall {

/// A copper layer seen edge-on: a dark line along the board.
struct EdgeLayer {
    int number = 0;         ///< from the low-z face, 1 on
    Estimate z_px;          ///< its middle, from the outside of the board's copper on the low-z face
    Estimate width_px;      ///< as it shows: foil and smear together
    double darkness = 0;    ///< share of the laminate's transmission that it takes away
    bool saturated = false; ///< nothing comes through: how far it reaches into the depth is not seen
    bool outer = false;     ///< lies on a face
};

/// A plated hole seen from the side: a dark band across the board with two darker rims.
struct EdgeBarrel {
    Point at_px;       ///< its middle, at the board's mid-thickness
    Estimate width_px; ///< outside of the plating
};

/// What an edge-on picture shows of a board. Everything in px: along a board that lies level, `low-z face`
/// is the upper one; of one that stands upright, the left one.
struct EdgeView {
    bool found = false;
    std::string why;                              ///< of a board not found
    double angle_deg = 0;                         ///< of the board's run, anticlockwise as seen, in (-90, 90]
    std::array<std::array<Point, 2>, 2> faces_px; ///< ends of the low-z and the high-z face, as far as seen
    std::array<bool, 2> face_has_copper{};
    Estimate thickness_px; ///< outside of copper to outside of copper, smear taken off
    Estimate smear_px;     ///< across the thickness, of the outer layers' mean: beam not along the board
    Estimate blur_px;
    double u_fit_px = 0, u_smear_px = 0, u_curve_px = 0; ///< what makes up the thickness' u
    std::optional<int> copper_layers;                    ///< missing: see layers_why
    std::optional<int> at_least;
    std::string layers_why; ///< why only at least, or what is odd about the number; empty: nothing to say
    std::vector<EdgeLayer> layers;
    std::vector<EdgeBarrel> barrels;
    std::string barrels_why; ///< what the list may miss; empty: nothing to say
    std::vector<std::string> warnings;
};

/// What is known of the board and of the beam, px at mid-depth.
struct EdgeOptions {
    std::optional<double> foil_px;             ///< one inner plane's copper as stated
    std::vector<double> usual_foils_px;        ///< ascending; one of them is taken where none is stated
    double thinnest_foil_px = 0;               ///< copper is nowhere thinner
    std::optional<double> depth_over_distance; ///< board's depth along the beam by source distance
    std::optional<Point> centre_px;            ///< where the central ray meets the picture
    bool operator==(const EdgeOptions&) const = default;
};

/// Measures a board seen edge-on.
///
/// Model: across the board the transmission, averaged along it, is a row of level steps (open beam, laminate,
/// copper, ..., open beam), blurred by one Gaussian; all steps are fitted together in transmission, where
/// blur is linear, to pixels at their own place (nothing is resampled). How many copper lines: each must
/// lower the Bayesian information criterion and take away a share worth naming. Smear: a beam not along the
/// board widens opaque lines and the board by the same amount; with the foil stated it is read from the
/// lines' width, else bounded by it. u of the thickness: scatter between parts of the board's length
/// (jackknife), smear, unknown grey curve. Valid for boards of 8 px and more that are longer than thick.
///
/// Never throws for a picture without a board (`found` is false, with the reason). Throws Cancelled.
EdgeView measure_edge_on(const TransmissionMap& map, const EdgeOptions& options, Watch& watch);

} // namespace ringwall
