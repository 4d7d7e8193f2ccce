// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <vector>

namespace ringwall {

/// Linear attenuation coefficient in 1/cm of one element at `energy_kev` (1 to 500, not on an absorption
/// edge), from xraylib's total cross section. `density_g_cm3` > 0. Throws Error(usage) outside the range.
double linear_attenuation_per_cm(int atomic_number, double density_g_cm3, double energy_kev);

/// A material as weight fractions of elements (sum 1 within 1e-6) and a density.
struct Substance {
    struct Part {
        int atomic_number;
        double weight_fraction;
    };
    std::string name;
    std::vector<Part> parts;
    double density_g_cm3;
};
double linear_attenuation_per_cm(const Substance& substance, double energy_kev);

Substance copper();      ///< 8.96 g/cm3
Substance tin();         ///< 7.31 g/cm3
Substance steel();       ///< taken as iron, 7.874 g/cm3
Substance glass_epoxy(); ///< E-glass 60 % / DGEBA 40 %, no bromine, 1.85 g/cm3: a construction, not a fact
                         ///< about a board
Substance brominated_glass_epoxy(); ///< the same with 7.5 % Br, 1.90 g/cm3

/// A beam as energies with weights (sum 1): the detector's share of signal in the open beam.
struct Beam {
    struct Line {
        double energy_kev;
        double weight;
    };
    std::vector<Line> lines;
};

/// Bremsstrahlung after Kramers' law (photons ~ (E0 - E)/E, so signal ~ E0 - E), behind `filter_mm` of
/// aluminium, energy-integrating detector, `lines` equal energy bins from 10 keV up. Kramers 1923,
/// doi 10.1080/14786442308565244; no characteristic lines: good enough to make boards with a hardening beam,
/// not a tube calibration. kV 30 to 300.
Beam tube_beam(double tube_kv, double filter_al_mm, int lines = 24);
Beam single_energy_beam(double energy_kev);

/// Transmission of `thickness_mm` of a substance in the beam: sum of weight * exp(-mu t).
double transmission(const Beam& beam, const Substance& substance, double thickness_mm);

} // namespace ringwall
