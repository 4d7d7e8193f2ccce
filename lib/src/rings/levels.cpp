// SPDX-License-Identifier: Apache-2.0
#include "rings/levels.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::rings {

int RingLevels::foils(double t) const {
    double above = laminate;
    int k = 0;
    for (double level : copper) {
        if (t > 0.5 * (above + level)) break;
        above = level;
        ++k;
    }
    return k;
}

RingLevels ring_levels(const TransmissionMap& map, const MaterialMap& materials) {
    RingLevels out;
    const MaterialLevels& levels = materials.levels;
    out.open = levels.open.value_or(1.0);
    if (!levels.laminate) {
        out.why_not = "no bare laminate in view to tell copper from";
        return out;
    }
    out.laminate = levels.laminate.value();
    for (const Estimate& level : levels.copper) {
        const double above = out.copper.empty() ? out.laminate : out.copper.back();
        if (!level || level.value() >= above) break;
        out.copper.push_back(level.value());
    }
    if (out.copper.empty()) {
        out.why_not = "no copper level could be told from laminate in this picture";
        return out;
    }
    const double step = out.step();
    // A background that is a little off moves all levels of a neighbourhood together: a tenth of a step is
    // allowed for where a plateau shows the level anyway, and a plateau outvotes the prior.
    const auto widened = [&](const Estimate& e, double share) {
        return std::hypot(e ? e.u() : 0.0, share * step);
    };
    out.open_u = widened(levels.open, 0.1);
    out.laminate_u = widened(levels.laminate, 0.1);
    out.copper_u = widened(levels.copper.front(), 0.1);
    const double last = out.copper.back();
    const double before_last = out.copper.size() > 1 ? out.copper[out.copper.size() - 2] : out.laminate;
    out.dense_below = last * last / before_last; // one foil more than ever seen
    out.blur_px = std::max(map.blur_sigma_px.value_or(1.0), 0.4);
    out.blur_u_px = map.blur_sigma_px ? std::max(map.blur_sigma_px.u(), 0.01 * out.blur_px) : 0.3;
    out.noise = map.noise;
    if (out.noise.photons <= 0 && out.noise.readout <= 0)
        out.noise.readout = 0.03 * step; // flat display picture
    return out;
}

} // namespace ringwall::rings
