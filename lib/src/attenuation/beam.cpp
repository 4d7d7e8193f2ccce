// SPDX-License-Identifier: Apache-2.0
#include "ringwall/attenuation.hpp"

#include "core/text.hpp"
#include "ringwall/error.hpp"

#include <cmath>
#include <string>

namespace ringwall {
namespace {

const Substance& aluminium() {
    static const Substance substance{"aluminium", {{13, 1.0}}, 2.699};
    return substance;
}

/// Signal share of one energy bin: Kramers' intensity (E0 - E) is already energy times photons, and an
/// energy-integrating detector that stops all photons sums exactly that.
double bin_signal(double tube_kv, double filter_al_mm, double energy_kev) {
    const double behind_filter =
        std::exp(-linear_attenuation_per_cm(aluminium(), energy_kev) * filter_al_mm / 10);
    return (tube_kv - energy_kev) * behind_filter;
}

} // namespace

Beam tube_beam(double tube_kv, double filter_al_mm, int lines) {
    if (!(tube_kv >= 30 && tube_kv <= 300) || !(filter_al_mm >= 0) || lines < 1)
        throw Error(Fault::usage,
                    "beam: expected 30 to 300 kV, a filter of 0 mm or more and a line or more, got " +
                        brief(tube_kv) + " kV, " + brief(filter_al_mm) + " mm, " + std::to_string(lines) +
                        " lines");
    const double lowest_kev = 10;
    const double bin_kev = (tube_kv - lowest_kev) / lines;
    Beam beam;
    double total = 0;
    for (int i = 0; i < lines; ++i) {
        const double energy_kev = lowest_kev + (i + 0.5) * bin_kev;
        beam.lines.push_back({energy_kev, bin_signal(tube_kv, filter_al_mm, energy_kev)});
        total += beam.lines.back().weight;
    }
    for (auto& line : beam.lines)
        line.weight /= total;
    return beam;
}

Beam single_energy_beam(double energy_kev) {
    return Beam{{{energy_kev, 1.0}}};
}

double transmission(const Beam& beam, const Substance& substance, double thickness_mm) {
    double sum = 0;
    for (const auto& line : beam.lines)
        sum += line.weight *
               std::exp(-linear_attenuation_per_cm(substance, line.energy_kev) * thickness_mm / 10);
    return sum;
}

} // namespace ringwall
