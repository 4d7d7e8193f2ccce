// SPDX-License-Identifier: Apache-2.0
#include "ringwall/attenuation.hpp"

#include "core/text.hpp"
#include "ringwall/error.hpp"

#include <xraylib.h>

#include <cmath>
#include <string>

namespace ringwall {
namespace {

void check_energy(double energy_kev) {
    if (energy_kev >= 1 && energy_kev <= 500) return;
    throw Error(Fault::usage, "attenuation: expected an energy of 1 to 500 keV, got " + brief(energy_kev));
}

void check_density(double density_g_cm3) {
    if (density_g_cm3 > 0 && density_g_cm3 < 30) return;
    throw Error(Fault::usage,
                "attenuation: expected a density of 0 to 30 g/cm3, got " + brief(density_g_cm3));
}

/// Total cross section in cm2/g. A failing call returns a silent 0 ("perfectly transparent"), so both the
/// error and the value are checked. CS_Total by atomic number only: its compound parsers change the process's
/// locale, and the "Kissel" sums fall away for light elements.
double mass_attenuation_cm2_g(int atomic_number, double energy_kev) {
    xrl_error* failure = nullptr;
    const double value = CS_Total(atomic_number, energy_kev, &failure);
    std::string why = "no data";
    if (failure != nullptr) {
        why = failure->message;
        xrl_error_free(failure);
    } else if (value > 0) {
        return value;
    }
    throw Error(Fault::usage, "attenuation: element " + std::to_string(atomic_number) + " at " +
                                  brief(energy_kev) + " keV: " + why);
}

} // namespace

double linear_attenuation_per_cm(int atomic_number, double density_g_cm3, double energy_kev) {
    check_energy(energy_kev);
    check_density(density_g_cm3);
    return mass_attenuation_cm2_g(atomic_number, energy_kev) * density_g_cm3;
}

double linear_attenuation_per_cm(const Substance& substance, double energy_kev) {
    check_energy(energy_kev);
    check_density(substance.density_g_cm3);
    double mass_attenuation = 0, share = 0;
    for (const auto& part : substance.parts) {
        mass_attenuation += part.weight_fraction * mass_attenuation_cm2_g(part.atomic_number, energy_kev);
        share += part.weight_fraction;
    }
    if (std::abs(share - 1) > 1e-6)
        throw Error(Fault::usage, "attenuation: weight fractions of " + substance.name + " sum to " +
                                      brief(share) + ", expected 1");
    return mass_attenuation * substance.density_g_cm3;
}

} // namespace ringwall
