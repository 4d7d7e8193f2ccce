// SPDX-License-Identifier: Apache-2.0
#include "holes/barrel_level.hpp"

#include "ringwall/attenuation.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <span>
#include <vector>

namespace ringwall {

namespace {

struct Weighed {
    double value, weight;
};

// Common practice, no source: half, one, one and a half, two, three and four ounce copper a square foot,
// alone or lying over each other wherever they lie.
constexpr std::array<Weighed, 6> common_foils_um{
    {{17.5, 0.25}, {35, 0.35}, {52.5, 0.1}, {70, 0.2}, {105, 0.06}, {140, 0.04}}};
constexpr double foil_spread = 0.12; // etching takes from it, plating adds
constexpr std::array<Weighed, 3> foils_at_once{{{1, 0.7}, {2, 0.2}, {3, 0.1}}};
constexpr double common_board_mm = 1.5, common_board_spread = 0.35, stated_board_spread = 0.03;
// Share of the way from the recipe without bromine to the one with 7.5 %: there is no single FR-4.
constexpr std::array<Weighed, 3> bromine{{{0.0, 0.4}, {0.5, 0.2}, {1.0, 0.4}}};
constexpr double laminate_spread = 0.12;
constexpr int board_nodes = 11;
constexpr double board_reach = 2.2; // nodes reach so many spreads either way

double bell(double off, double spread) {
    return std::exp(-0.5 * off * off / (spread * spread)) / spread;
}

/// One beam with what it meets, tabled once: attenuation per mm, line by line.
class BeamTable {
  public:
    explicit BeamTable(const Beam& beam) {
        const Substance metal = ringwall::copper(), plain = glass_epoxy(),
                        flame_safe = brominated_glass_epoxy();
        for (const Beam::Line& line : beam.lines)
            lines_.push_back({line.weight, linear_attenuation_per_cm(metal, line.energy_kev) / 10,
                              linear_attenuation_per_cm(plain, line.energy_kev) / 10,
                              linear_attenuation_per_cm(flame_safe, line.energy_kev) / 10});
    }

    [[nodiscard]] double t(double copper_mm, double laminate_mm, double bromine_share) const {
        double sum = 0;
        for (const Line& l : lines_)
            sum += l.weight * std::exp(-l.copper * copper_mm -
                                       (l.plain + bromine_share * (l.brominated - l.plain)) * laminate_mm);
        return sum;
    }

    /// Copper in mm that lowers the laminate's level by the factor exp(-step); the answer grows with the
    /// step.
    [[nodiscard]] double copper_for(double step, double laminate_mm, double bromine_share) const {
        const double wanted = t(0, laminate_mm, bromine_share) * std::exp(-step);
        double low = 0, high = 2;
        for (int i = 0; i < 24; ++i) {
            const double middle = 0.5 * (low + high);
            (t(middle, laminate_mm, bromine_share) > wanted ? low : high) = middle;
        }
        return 0.5 * (low + high);
    }

  private:
    struct Line {
        double weight, copper, plain, brominated;
    };
    std::vector<Line> lines_;
};

Beam behind_copper(Beam beam, double copper_mm) {
    double sum = 0;
    for (auto& line : beam.lines) {
        line.weight *= transmission(single_energy_beam(line.energy_kev), copper(), copper_mm);
        sum += line.weight;
    }
    for (auto& line : beam.lines)
        line.weight /= sum;
    return beam;
}

std::vector<double> geometric(double from, double to, int count) {
    std::vector<double> values;
    values.reserve(static_cast<std::size_t>(count));
    for (int i = 0; i < count; ++i)
        values.push_back(from * std::pow(to / from, i / (count - 1.0)));
    return values;
}

/// Single energies, tubes with the window alone, tubes behind light and strong copper filters: each family
/// weighs the same.
std::vector<std::pair<BeamTable, double>> all_beams() {
    std::vector<std::pair<BeamTable, double>> beams;
    for (double kev : geometric(24, 200, 40))
        beams.emplace_back(BeamTable(single_energy_beam(kev)), 1.0 / 40);
    for (double filter_mm : {0.0, 0.3, 1.0})
        for (double kv : geometric(filter_mm > 0 ? 80 : 40, 225, 16))
            beams.emplace_back(BeamTable(behind_copper(tube_beam(kv, 2.0), filter_mm)), 1.0 / 16);
    return beams;
}

/// How common copper of this thickness is in the first step, per unit of ln(thickness).
double foil_prior(double um, const std::optional<double>& stated_um) {
    double sum = 0;
    for (const Weighed& count : foils_at_once)
        if (stated_um)
            sum += count.weight * bell(std::log(um / (count.value * *stated_um)), foil_spread);
        else
            for (const Weighed& foil : common_foils_um)
                sum +=
                    count.weight * foil.weight * bell(std::log(um / (count.value * foil.value)), foil_spread);
    return sum;
}

/// Weighed sums of one quantity.
struct Sums {
    double weight = 0, value = 0, square = 0;
    void add(double w, double v) { weight += w, value += w * v, square += w * v * v; }
};

/// One beam against the two levels, all thicknesses and recipes: calls take(weight, board_mm, bromine share).
template<typename Take>
void weigh_beam(const BeamTable& beam, double beam_weight, const MaterialLevels& levels, double step,
                const BoardBuild& build, Take&& take) {
    const double centre = build.board_mm.value_or(common_board_mm);
    const double spread = build.board_mm ? stated_board_spread : common_board_spread;
    const double seen = -std::log(std::clamp(levels.laminate.value(), 1e-3, 0.999));
    for (int i = 0; i < board_nodes; ++i) {
        const double off = board_reach * spread * (2.0 * i / (board_nodes - 1) - 1);
        const double board_mm = centre * std::exp(off);
        for (const Weighed& recipe : bromine) {
            const double made = -std::log(beam.t(0, board_mm, recipe.value));
            const double fits = bell(std::log(seen / made), laminate_spread + levels.laminate.u() / seen);
            if (fits < 1e-4) continue;
            const double foil_um = 1000 * beam.copper_for(step, board_mm, recipe.value);
            take(beam_weight * bell(off, spread) * recipe.weight * fits * foil_prior(foil_um, build.foil_um),
                 board_mm, recipe.value);
        }
    }
}

/// Attenuation of the first copper: the smallest step between neighbouring levels, since planes that always
/// overlap show a double one.
double smallest_step(const MaterialLevels& levels) {
    double above = levels.laminate.value(), least = 1e9;
    for (const Estimate& level : levels.copper) {
        if (!level || !(level.value() > 0)) break;
        least = std::min(least, std::log(above / level.value()));
        above = level.value();
    }
    return least;
}

/// Mean and spread of quantity(beam, board_mm, bromine share) over everything that makes the levels.
template<typename Quantity>
Estimate weighed(const MaterialLevels& levels, const BoardBuild& build, Quantity&& quantity) {
    if (!levels.laminate || levels.copper.empty() || !levels.copper.front())
        return Estimate::missing("no single foil over laminate is in view");
    const double step = smallest_step(levels);
    if (!(step > 1e-4)) return Estimate::missing("one foil is too thin to see in this beam");
    Sums sums;
    for (const auto& entry : all_beams()) {
        const BeamTable& beam = entry.first; // clang captures no structured bindings
        weigh_beam(beam, entry.second, levels, step, build,
                   [&](double weight, double board_mm, double bromine_share) {
                       sums.add(weight, quantity(beam, board_mm, bromine_share));
                   });
    }
    if (!(sums.weight > 1e-12)) return Estimate::missing("no common build makes the levels of this picture");
    const double mean = sums.value / sums.weight;
    return Estimate::of(mean, std::sqrt(std::max(sums.square / sums.weight - mean * mean, 0.0)));
}

} // namespace

Estimate expected_barrel_level(const MaterialLevels& levels, const BoardBuild& build) {
    const Estimate level = weighed(
        levels, build, [](const BeamTable& beam, double board_mm, double) { return beam.t(board_mm, 0, 0); });
    return level ? Estimate::of(level.value(), level.u() + 0.005) : level;
}

Estimate expected_copper_um(const MaterialLevels& levels, const BoardBuild& build, double darkening) {
    if (!levels.laminate || darkening >= 0.95 * levels.laminate.value())
        return Estimate::missing("no copper darkens the laminate that much");
    const double step = -std::log(1 - darkening / levels.laminate.value());
    return weighed(levels, build, [step](const BeamTable& beam, double board_mm, double bromine_share) {
        return 1000 * beam.copper_for(step, board_mm, bromine_share);
    });
}

std::optional<double> expected_darkening_share(const MaterialLevels& levels, const BoardBuild& build,
                                               double copper_um) {
    if (!levels.laminate || !(copper_um > 0)) return std::nullopt;
    double low = 0, high = 0.9;
    constexpr int halvings = 12; // to 0.0002: levels are known less well
    for (int i = 0; i < halvings; ++i) {
        const double middle = (low + high) / 2;
        const Estimate um = expected_copper_um(levels, build, middle * levels.laminate.value());
        if (!um) return std::nullopt;
        (um.value() + 1.645 * um.u() < copper_um ? low : high) = middle;
    }
    return low > 0 ? std::optional(low) : std::nullopt;
}

} // namespace ringwall
