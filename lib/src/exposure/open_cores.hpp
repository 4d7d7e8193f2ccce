// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "exposure/background.hpp"
#include "ringwall/estimate.hpp"
#include "ringwall/image.hpp"

namespace ringwall::exposure {

/// Open-beam level, ln, from the very middles of narrow bores: whole blocks in a via reach into its blurred
/// edge and read some parts in a thousand low. `background` gives a first value (a block's). Each bright
/// spot's centroid is found, and the 3 x 3 pixels there are averaged; the median over spots counts.
Estimate open_from_cores(ImageView<const float> signal, const Blocks& blocks, const Background& background);

} // namespace ringwall::exposure
