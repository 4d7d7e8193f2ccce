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
/// Where several equal steps show, one step is mostly one plane; one step alone may be all planes at once.
constexpr std::array<Weighed, 4> foils_a_step{{{1, 0.7}, {2, 0.2}, {3, 0.05}, {4, 0.05}}};
constexpr std::array<Weighed, 6> foils_at_once{
    {{1, 0.6}, {2, 0.2}, {3, 0.05}, {4, 0.1}, {6, 0.03}, {8, 0.02}}};
constexpr double other_foils = 0.25; // share of boards whose other planes are not of the foil that was stated
constexpr double plane_spread = 0.05, uneven_planes = 0.1; // of planes of one foil; how often they are not
constexpr std::size_t most_steps = 4;                      // more say little more, and cost time
constexpr double background_u = 4e-4;                      // of an attenuation: what the background leaves
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

    struct Level {
        double t, copper; ///< and what another mm of copper attenuates
    };

    [[nodiscard]] Level level_behind(double copper_mm, double laminate_mm, double bromine_share) const {
        double sum = 0, slope = 0;
        for (const Line& l : lines_) {
            const double part =
                l.weight * std::exp(-l.copper * copper_mm -
                                    (l.plain + bromine_share * (l.brominated - l.plain)) * laminate_mm);
            sum += part;
            slope += part * l.copper;
        }
        return {sum, slope / sum};
    }

    [[nodiscard]] double t(double copper_mm, double laminate_mm, double bromine_share) const {
        return level_behind(copper_mm, laminate_mm, bromine_share).t;
    }

    /// Copper in mm that lowers the laminate's level by the factor exp(-step); the answer grows with the
    /// step. Newton's method from no copper: ln t is convex, so that it never strides too far.
    [[nodiscard]] double copper_for(double step, double laminate_mm, double bromine_share) const {
        constexpr double most = 2, enough = 1e-6; // mm
        const double wanted = std::log(t(0, laminate_mm, bromine_share)) - step;
        double copper_mm = 0;
        for (int i = 0; i < 12 && copper_mm < most; ++i) {
            const Level level = level_behind(copper_mm, laminate_mm, bromine_share);
            const double by = (std::log(level.t) - wanted) / level.copper;
            copper_mm += by;
            if (by < enough) break;
        }
        return std::min(copper_mm, most);
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

/// Attenuation of the copper levels over bare laminate.
struct Ladder {
    std::vector<double> steps, u;
};

Ladder ladder_of(const MaterialLevels& levels) {
    Ladder ladder;
    const double laminate = levels.laminate.value();
    for (const Estimate& level : levels.copper) {
        if (!level || !(level.value() > 0) || ladder.steps.size() == most_steps) break;
        const double step = std::log(laminate / level.value());
        if (!(step > (ladder.steps.empty() ? 1e-4 : ladder.steps.back()))) break;
        ladder.steps.push_back(step);
        ladder.u.push_back(std::hypot(level.u() / level.value(), background_u));
    }
    return ladder;
}

double foils_prior(double um, double foil_um, std::span<const Weighed> counts) {
    double sum = 0;
    for (const Weighed& count : counts)
        sum += count.weight * bell(std::log(um / (count.value * foil_um)), foil_spread);
    return sum;
}

/// How common copper of this thickness is in a step, per unit of ln(thickness).
double step_prior(double um, const std::optional<double>& stated_um, bool one_step) {
    const std::span<const Weighed> counts =
        one_step ? std::span<const Weighed>(foils_at_once) : std::span<const Weighed>(foils_a_step);
    double any = 0;
    for (const Weighed& foil : common_foils_um)
        any += foil.weight * foils_prior(um, foil.value, counts);
    return stated_um ? (1 - other_foils) * foils_prior(um, *stated_um, counts) + other_foils * any : any;
}

/// What one beam makes of the ladder: copper a step, and how well the steps are as even as planes of one foil
/// are.
struct StepReading {
    double um, fits;
};

StepReading read_ladder(const BeamTable& beam, const Ladder& ladder, double board_mm, double bromine_share) {
    std::vector<double> um, u;
    double below = 0, u_below = 0;
    for (std::size_t k = 0; k < ladder.steps.size(); ++k) {
        const double copper_mm = beam.copper_for(ladder.steps[k], board_mm, bromine_share);
        const double per_um = beam.level_behind(copper_mm, board_mm, bromine_share).copper / 1000;
        const double u_here = ladder.u[k] / per_um;
        um.push_back(1000 * copper_mm - below);
        u.push_back(std::hypot(u_here, u_below));
        below = 1000 * copper_mm, u_below = u_here;
    }
    const double usual = below / static_cast<double>(um.size());
    double weight = 0, sum = 0, squares = 0;
    for (std::size_t k = 0; k < um.size(); ++k) {
        const double w = 1 / (u[k] * u[k] + std::pow(plane_spread * usual, 2));
        weight += w, sum += w * um[k], squares += w * um[k] * um[k];
    }
    const double chi2 = um.size() > 1 ? squares - sum * sum / weight : 0;
    return {sum / weight, uneven_planes + (1 - uneven_planes) * std::exp(-0.5 * chi2)};
}

/// Weighed sums of one quantity.
struct Sums {
    double weight = 0, value = 0, square = 0;
    void add(double w, double v) { weight += w, value += w * v, square += w * v * v; }
};

/// One way to make the levels.
struct Make {
    const BeamTable* beam;
    double weight, board_mm, bromine_share;
};

/// One beam against the levels, all thicknesses and recipes.
void weigh_beam(const BeamTable& beam, double beam_weight, const MaterialLevels& levels, const Ladder& ladder,
                const BoardBuild& build, std::vector<Make>& makes) {
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
            const StepReading step = read_ladder(beam, ladder, board_mm, recipe.value);
            const double weight = beam_weight * bell(off, spread) * recipe.weight * fits * step.fits *
                                  step_prior(step.um, build.foil_um, ladder.steps.size() == 1);
            makes.push_back({&beam, weight, board_mm, recipe.value});
        }
    }
}

/// Everything that makes the levels, or why nothing can be said.
struct Makes {
    std::vector<std::pair<BeamTable, double>> beams = all_beams();
    std::vector<Make> all;
    const char* why = nullptr;
};

Makes makes_of(const MaterialLevels& levels, const BoardBuild& build) {
    Makes makes;
    if (!levels.laminate || levels.copper.empty() || !levels.copper.front()) {
        makes.why = "no single foil over laminate is in view";
        return makes;
    }
    const Ladder ladder = ladder_of(levels);
    if (ladder.steps.empty()) {
        makes.why = "one foil is too thin to see in this beam";
        return makes;
    }
    for (const auto& [beam, weight] : makes.beams)
        weigh_beam(beam, weight, levels, ladder, build, makes.all);
    return makes;
}

/// Mean and spread of quantity(beam, board_mm, bromine share) over everything that makes the levels.
template<typename Quantity>
Estimate weighed(const Makes& makes, Quantity&& quantity) {
    if (makes.why) return Estimate::missing(makes.why);
    Sums sums;
    for (const Make& make : makes.all)
        sums.add(make.weight, quantity(*make.beam, make.board_mm, make.bromine_share));
    if (!(sums.weight > 1e-12)) return Estimate::missing("no common build makes the levels of this picture");
    const double mean = sums.value / sums.weight;
    return Estimate::of(mean, std::sqrt(std::max(sums.square / sums.weight - mean * mean, 0.0)));
}

double share_taken(const Make& make, double copper_um) {
    return 1 - make.beam->t(copper_um / 1000, make.board_mm, make.bromine_share) /
                   make.beam->t(0, make.board_mm, make.bromine_share);
}

constexpr double sure = 0.95;

} // namespace

Estimate expected_barrel_level(const MaterialLevels& levels, const BoardBuild& build) {
    const Estimate level = weighed(makes_of(levels, build), [](const BeamTable& beam, double board_mm,
                                                               double) { return beam.t(board_mm, 0, 0); });
    return level ? Estimate::of(level.value(), level.u() + 0.005) : level;
}

std::optional<double> copper_noticed_um(const MaterialLevels& levels, const BoardBuild& build,
                                        const std::function<double(double share)>& chance) {
    const Makes makes = makes_of(levels, build);
    double weight = 0;
    for (const Make& make : makes.all)
        weight += make.weight;
    if (!(weight > 1e-12)) return std::nullopt;
    double low_um = 0.1, high_um = 500;
    const auto noticed = [&](double um) {
        double sum = 0;
        for (const Make& make : makes.all)
            sum += make.weight * chance(share_taken(make, um));
        return sum >= sure * weight;
    };
    if (!noticed(high_um)) return std::nullopt;
    for (int i = 0; i < 12; ++i) { // to one part in five hundred
        const double middle_um = std::sqrt(low_um * high_um);
        (noticed(middle_um) ? high_um : low_um) = middle_um;
    }
    return high_um;
}

std::optional<double> expected_darkening_share(const MaterialLevels& levels, const BoardBuild& build,
                                               double copper_um) {
    if (!(copper_um > 0)) return std::nullopt;
    const Makes makes = makes_of(levels, build);
    std::vector<Weighed> shares;
    shares.reserve(makes.all.size());
    double weight = 0;
    for (const Make& make : makes.all) {
        shares.push_back({share_taken(make, copper_um), make.weight});
        weight += make.weight;
    }
    if (!(weight > 1e-12)) return std::nullopt;
    std::sort(shares.begin(), shares.end(),
              [](const Weighed& a, const Weighed& b) { return a.value < b.value; });
    double below = 0;
    for (const Weighed& share : shares)
        if ((below += share.weight) >= (1 - sure) * weight) return share.value;
    return shares.back().value;
}

} // namespace ringwall
