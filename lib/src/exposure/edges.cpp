// SPDX-License-Identifier: Apache-2.0
#include "exposure/edges.hpp"

namespace ringwall::exposure {

EdgeFacts measure_edges(ImageView<const float> /*t*/, const NoiseModel& /*noise*/) {
    EdgeFacts facts;
    facts.blur_sigma_px = Estimate::missing("blur is not measured in this version");
    return facts;
}

} // namespace ringwall::exposure
