// SPDX-License-Identifier: Apache-2.0
#include "holes/narrow_gap.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall {

double narrow_gap_u(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                    const RimFit& fitted, const RimBelief& belief) {
    constexpr std::array<double, 5> gaps_sigmas{0.2, 0.4, 0.6, 0.8, 1.0};
    RimModel model = fitted.model;
    const auto in_question = [](const RimSector& s) {
        return s.used && s.has_step && (s.in_ring || (!s.gap_free && s.gap_px == 0));
    };
    const auto count = std::count_if(model.sectors.begin(), model.sectors.end(), in_question);
    const bool whole_ring = 2 * count > std::ssize(model.sectors) && !model.ring_eccentric;
    if (!whole_ring || model.ring_gap_px > shared.sigma_px || !fitted.converged) return 0;
    for (RimSector& s : model.sectors)
        if (in_question(s)) s.in_ring = s.gap_free = false, s.gap_px = s.gap_expected_px = 0;
    const RimFrame frame{model, shared};
    const auto with_gap = [&](double gap_px) {
        RimModel gapped = model;
        for (RimSector& s : gapped.sectors)
            if (in_question(s)) s.gap_px = s.gap_expected_px = gap_px;
        return fit_rim(t, noise, gapped, shared, belief, &frame);
    };
    const auto off2 = [&](const RimFit& fit) {
        return std::pow(fit.model.radius_px - fitted.model.radius_px, 2);
    };
    const RimFit touching = with_gap(0);
    const double scale = std::max(1.0, touching.chi2_per_dof()) * noise.correlation;
    double weight = 1, sum = off2(touching);
    for (const double gap_sigmas : gaps_sigmas) {
        const RimFit fit = with_gap(gap_sigmas * shared.sigma_px);
        if (!fit.converged) continue;
        const double w = std::exp(0.5 * std::min((touching.chi2 - fit.chi2) / scale, 60.0)) /
                         static_cast<double>(gaps_sigmas.size());
        weight += w, sum += w * off2(fit);
    }
    return std::sqrt(sum / weight);
}

} // namespace ringwall
