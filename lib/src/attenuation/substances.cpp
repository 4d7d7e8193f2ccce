// SPDX-License-Identifier: Apache-2.0
#include "ringwall/attenuation.hpp"

#include <map>

namespace ringwall {
namespace {

/// Standard atomic weights (IUPAC 2021, abridged values; from memory).
double atomic_weight(int atomic_number) {
    static const std::map<int, double> weights = {{1, 1.008},   {5, 10.81},   {6, 12.011},  {8, 15.999},
                                                  {11, 22.990}, {12, 24.305}, {13, 26.982}, {14, 28.085},
                                                  {20, 40.078}, {35, 79.904}};
    return weights.at(atomic_number);
}

using Counts = std::map<int, double>; ///< atoms per formula unit

Counts weight_fractions(const Counts& formula) {
    double total = 0;
    for (const auto& [z, atoms] : formula)
        total += atoms * atomic_weight(z);
    Counts fractions;
    for (const auto& [z, atoms] : formula)
        fractions[z] = atoms * atomic_weight(z) / total;
    return fractions;
}

void add(Counts& into, const Counts& fractions, double share) {
    for (const auto& [z, fraction] : fractions)
        into[z] += share * fraction;
}

/// E-glass by weight: SiO2 .545, CaO .19, Al2O3 .145, B2O3 .075, MgO .03, Na2O .015 (within the oxide ranges
/// that ASTM D578 gives for E-glass; the ranges themselves from memory).
Counts e_glass() {
    Counts glass;
    add(glass, weight_fractions({{14, 1}, {8, 2}}), 0.545);
    add(glass, weight_fractions({{20, 1}, {8, 1}}), 0.190);
    add(glass, weight_fractions({{13, 2}, {8, 3}}), 0.145);
    add(glass, weight_fractions({{5, 2}, {8, 3}}), 0.075);
    add(glass, weight_fractions({{12, 1}, {8, 1}}), 0.030);
    add(glass, weight_fractions({{11, 2}, {8, 1}}), 0.015);
    return glass;
}

Counts plain_epoxy() {
    return weight_fractions({{6, 21}, {1, 24}, {8, 4}});
} // DGEBA, C21H24O4

Counts brominated_resin() {
    return weight_fractions({{6, 15}, {1, 12}, {35, 4}, {8, 2}});
} // TBBPA, C15H12Br4O2

Substance laminate(const char* name, double bromine_share, double density_g_cm3) {
    const double glass_share = 0.60;
    const Counts tbbpa = brominated_resin();
    const double tbbpa_share = bromine_share / tbbpa.at(35);
    Counts mix;
    add(mix, e_glass(), glass_share);
    add(mix, tbbpa, tbbpa_share);
    add(mix, plain_epoxy(), 1 - glass_share - tbbpa_share);
    Substance substance{name, {}, density_g_cm3};
    for (const auto& [z, fraction] : mix)
        substance.parts.push_back({z, fraction});
    return substance;
}

} // namespace

Substance copper() {
    return {"copper", {{29, 1.0}}, 8.96};
}
Substance tin() {
    return {"tin", {{50, 1.0}}, 7.31};
}
Substance steel() {
    return {"steel", {{26, 1.0}}, 7.874};
}
Substance glass_epoxy() {
    return laminate("glass epoxy", 0, 1.85);
}
Substance brominated_glass_epoxy() {
    return laminate("brominated glass epoxy", 0.075, 1.90);
}

} // namespace ringwall
