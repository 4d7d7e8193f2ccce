// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "holes/grey_scale.hpp"
#include "holes/rim.hpp"
#include "holes/small_core.hpp"

namespace ringwall::holes {

/// 0: no hole; else up to 1, higher for more of the turn seen and a clearer fall. `level`: of the pyramid.
double judge(const Rim& rim, const GreyScale& grey, int level);

/// The level test again for a small bore: its core is air rather than laminate, beyond what noise can do.
bool is_small_bore(const SmallCore& core, const GreyScale& grey);

/// A plated bore that a part's body covers wholly and evenly, so that its core is darker than air: known by a
/// whole round rim and a wall far darker than the board behind it. `wall`, `beyond`: levels next to the core
/// and outside the barrel, without blur where the bore is small. 0: no; else the score.
double judge_covered(const Rim& rim, double core, double wall, double beyond, double ring_sigmas,
                     const GreyScale& grey);

/// A large bare bore under a part's body: darker than air, yet lighter than the board can be anywhere by half
/// of the board's own step (in log T: a body's share cancels), and round to a hundredth of its radius all the
/// way. 0: no, or grey values that say nothing of depth; else the score.
double judge_covered_bare(const Rim& rim, const GreyScale& grey, int level);

/// Darker just outside the bore than further out, beyond noise.
bool has_dark_ring(const Rim& rim);

} // namespace ringwall::holes
