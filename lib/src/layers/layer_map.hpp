// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/fit.hpp"
#include "ringwall/flat_stack.hpp"
#include "ringwall/materials.hpp"
#include "ringwall/transmission.hpp"

#include <optional>
#include <vector>

namespace ringwall::layers {

/// One copper layer as the stages for face-on pictures read it.
///
/// A reconstruction is linear in attenuation, and those stages fit edges on a linear scale on which air is 1
/// and dense material is low: t = 1 - step * value, value in laminate steps. No exponential is meant.
struct LayerMap {
    TransmissionMap map;
    MaterialMap materials; ///< levels only
    HolePriors priors;     ///< blur in the plane, and solid copper as the barrel's level
    double step = 0;       ///< of t, a laminate step
    double copper = 0;   ///< level of the layer's copper in its picture, laminate steps; 0: next to none seen
    double depth_px = 0; ///< below the low face, slices
    std::optional<double> unevenness; ///< of its laminate, robust sigma in laminate steps
};

/// Attenuation of solid copper over the laminate's: the most that a foil says whose thickness is known, else
/// 30 +- 4 (60 keV, laminate without bromine, xraylib: data of the phantom's VolumeScan).
Estimate copper_ratio(const FlatStack& flat);

/// Maps of all layers, with one blur between them: the mean of what their edges say.
std::vector<LayerMap> layer_maps(const FlatStack& flat);

/// Of the layers' laminate the most even: what streaks and bands leave on all of them, laminate steps.
double unevenness_of_laminate(const std::vector<LayerMap>& maps);
/// From here on streaks pass for copper or hide it. Drawn stacks with nothing but noise, rings and cupping
/// read 0.055; with metal streaks of 0.3, 0.6, 1 and 2 steps at the barrels 0.08, 0.12, 0.18 and 0.36; from
/// 0.6 on rings were off by pixels.
inline constexpr double most_uneven = 0.1;

/// The mean over the board's depth as a picture in which holes are found: t = exp(-value / 10).
TransmissionMap through_map(const FlatStack& flat);

} // namespace ringwall::layers
