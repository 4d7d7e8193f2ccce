// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/sheet.hpp"

#include <optional>
#include <vector>

namespace ringwall {

/// Values over a flattened board by depth, laminate steps; depths in slices along the normal, evenly spaced.
struct DepthProfile {
    std::vector<double> depth;
    std::vector<double> value;  ///< mean over the board
    std::vector<double> crest;  ///< what one block in thirty exceeds: layers with little copper show here
    std::vector<double> weight; ///< of `value`: 1 / sigma
};

/// One foil in the profile: a box of copper blurred by the common Gaussian.
struct FoilLine {
    double middle = 0, thickness = 0; ///< slices
    double height =
        0; ///< excess over laminate inside the box, laminate steps (copper's times its covered share)
    double u_middle = 0, u_thickness = 0;
    double first_seen = 0; ///< depth at which a peak stood; no fit moves the foil far from there
};

/// The whole board by depth: laminate between two faces, foils, one blur.
struct DepthModel {
    double laminate = 1;
    double low = 0, high = 0; ///< the laminate's faces
    double blur = 1;          ///< sigma
    double u_blur = 0;
    std::vector<FoilLine> foils; ///< by depth
    double residual = 0;         ///< RMS
    /// The board's outer faces: of copper where a foil lies there, else of laminate.
    double low_face = 0, high_face = 0;
    bool low_is_copper = false, high_is_copper = false;
    int unseen = 0;         ///< foils that the profile's shape asked for and no block of columns shows
    double u_thickness = 0; ///< of high_face - low_face, from the fit's covariance
    [[nodiscard]] double at(double depth) const;
    /// A foil's line of height 1 and its slope.
    [[nodiscard]] double line(const FoilLine& foil, double depth) const;
    [[nodiscard]] double line_slope(const FoilLine& foil, double depth) const;
};

/// Outer faces and u_thickness from foils and laminate as they stand: the outermost foil's far side where it
/// lies at the laminate's face, else the laminate.
void set_outer_faces(DepthModel& model);

/// Foils found one by one as peaks over the model so far, all fitted together after each (Levenberg and
/// Marquardt); one more is kept while it takes more off the residual than BIC asks for and stands apart from
/// its neighbours by two sigma of the blur. `foil_px`: a stated thickness, slices; else the thickness is
/// fitted as far as the blur shows it.
DepthModel fit_depth_model(const DepthProfile& profile, std::optional<double> foil_px);

} // namespace ringwall
