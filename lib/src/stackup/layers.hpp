// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "stackup/step_model.hpp"

#include <vector>

namespace ringwall::stackup {

struct LayerFit {
    StepFit fit;
    std::vector<int> unsure; ///< copper levels that noise or the model's misfit might feign
    bool sound = false;      ///< a row of steps was found at all
};

/// Finds the copper lines of a profile and fits them together: a line for every dip that stands out, then
/// lines, splits and mask one by one while each lowers the Bayesian information criterion (misfit counted in)
/// and is dark enough to be worth naming.
LayerFit find_layers(const std::vector<Sample>& samples, double low, double high, const StepPriors& priors);

} // namespace ringwall::stackup
