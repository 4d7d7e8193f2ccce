// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "exposure/blocks.hpp"
#include "exposure/noise.hpp"
#include "ringwall/radiograph.hpp"

namespace ringwall::exposure {

/// What speaks for dense material at the dark end of the stored scale (positive) or at the bright end
/// (negative). Each in the same unit, about natural log odds.
struct Polarity {
    double noise = 0;  ///< photon noise grows with the beam that arrives
    double border = 0; ///< air round a board is flat and lies at the extreme of the scale
    double cores = 0;  ///< bores are round spots at the open-beam end; dense parts are rarely round
    [[nodiscard]] double total() const { return noise + border + cores; }
    [[nodiscard]] bool dense_is_dark() const { return total() >= 0; }
    [[nodiscard]] bool sure() const { return total() > 2 || total() < -2; }
};

/// `noise`: line fitted to the stored values. In a picture that is proportional to attenuation (log) noise
/// grows with the stored value where dense material is bright: the sign of that evidence turns.
Polarity find_polarity(const Radiograph& picture, const Blocks& blocks, const NoiseLine& noise,
                       Radiometry radiometry);

} // namespace ringwall::exposure
