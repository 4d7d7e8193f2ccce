// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "screwfit/fit_screw.hpp"

namespace ringwall::screwfit {

/// What can be said of a screw in a hole that is known in pixels only: its name and the spacing asked for,
/// undecided, every length missing with the reason.
ScrewFit without_scale(const Judging& with, const std::string& why);

} // namespace ringwall::screwfit
