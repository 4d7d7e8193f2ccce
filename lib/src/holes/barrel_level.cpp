// SPDX-License-Identifier: Apache-2.0
#include "holes/barrel_level.hpp"

#include "ringwall/attenuation.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace ringwall {

namespace {

/// Beams of one family, softest first: attenuation of a thin foil a um, and T through the whole depth.
struct BeamFamily {
    std::vector<double> step, depth;

    template<typename MakeBeam>
    BeamFamily(const std::vector<double>& hardness, double foil_um, double board_mm, MakeBeam make) {
        const Substance metal = copper(), board = glass_epoxy();
        for (double h : hardness) {
            const Beam beam = make(h);
            // The step is seen through the laminate, which has hardened the beam already.
            Beam behind = beam;
            double sum = 0;
            for (auto& line : behind.lines) {
                line.weight *= transmission(single_energy_beam(line.energy_kev), board, board_mm);
                sum += line.weight;
            }
            for (auto& line : behind.lines)
                line.weight /= sum;
            step.push_back(-std::log(transmission(behind, metal, foil_um * 1e-3)));
            depth.push_back(transmission(beam, metal, board_mm));
        }
    }

    /// T through the depth for the member with this foil step, log-linear between members, ends held.
    [[nodiscard]] double at(double wanted) const {
        if (wanted >= step.front()) return depth.front() * std::exp(-(wanted - step.front()) / step.front());
        for (std::size_t i = 1; i < step.size(); ++i)
            if (wanted >= step[i]) {
                const double f = std::log(wanted / step[i - 1]) / std::log(step[i] / step[i - 1]);
                return depth[i - 1] + f * (depth[i] - depth[i - 1]);
            }
        return depth.back();
    }
};

const std::vector<double> energies_kev{22, 26, 30, 35, 40, 46, 52, 60, 70, 80, 92, 105, 120, 140, 165, 200};
const std::vector<double> tube_kv{35, 42, 50, 60, 70, 80, 95, 110, 130, 160, 190, 225, 280};

struct Range {
    double low, high;
};

Range range_for(double step, double foil_um, double board_mm) {
    const BeamFamily single(energies_kev, foil_um, board_mm,
                            [](double kev) { return single_energy_beam(kev); });
    const BeamFamily broad(tube_kv, foil_um, board_mm, [](double kv) { return tube_beam(kv, 1.0); });
    const double a = single.at(step), b = broad.at(step);
    return {std::min(a, b), std::max(a, b)};
}

/// Attenuation of one foil: the smallest step between neighbouring levels, since planes that always overlap
/// show a double one.
double smallest_step(const MaterialLevels& levels) {
    double above = levels.laminate.value(), least = 1e9;
    for (const Estimate& level : levels.copper) {
        if (!level || !(level.value() > 0)) break;
        least = std::min(least, std::log(above / level.value()));
        above = level.value();
    }
    return least;
}

} // namespace

Estimate expected_barrel_level(const MaterialLevels& levels, const BoardBuild& build) {
    if (!levels.laminate || levels.copper.empty() || !levels.copper.front())
        return Estimate::missing("no single foil over laminate is in view");
    const double step = smallest_step(levels);
    if (!(step > 1e-4)) return Estimate::missing("one foil is too thin to see in this beam");
    const double u_step = std::hypot(levels.laminate.u(), levels.copper.front().u());
    const Range middle = range_for(step, build.foil_um, build.board_mm);
    const double value = 0.5 * (middle.low + middle.high);
    const auto shift = [&](double s, double foil, double board) {
        const Range r = range_for(s, foil, board);
        return 0.5 * (r.low + r.high) - value;
    };
    const double by_step = shift(step + u_step, build.foil_um, build.board_mm);
    const double by_foil = shift(step, build.foil_um + build.u_foil_um, build.board_mm);
    const double by_board = shift(step, build.foil_um, build.board_mm + build.u_board_mm);
    const double by_breadth =
        (middle.high - middle.low) / 2; // filters make beams outside the two families' ends too
    return Estimate::of(value,
                        std::hypot(std::hypot(by_step, by_foil), std::hypot(by_board, by_breadth)) + 0.005);
}

} // namespace ringwall
