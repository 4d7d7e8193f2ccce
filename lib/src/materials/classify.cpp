// SPDX-License-Identifier: Apache-2.0
#include "ringwall/materials.hpp"

#include "exposure/background.hpp"
#include "exposure/blocks.hpp"
#include "exposure/levels.hpp"
#include "exposure/noise.hpp"
#include "materials/class_map.hpp"
#include "materials/foil_steps.hpp"
#include "materials/open_border.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

using namespace exposure;

constexpr double open_p = 0.012; // attenuation up to which a level is open beam
constexpr double clear_edge =
    6; // step to the open beam, in noise: its slope over a block shows in the block's variance
constexpr double darkest_foil_t = 0.04; // the log of less is noise and scatter

std::vector<LogLevel> levels_of_size(const TransmissionMap& map, const Blocks& blocks, int half) {
    const FlatSpots flat = find_flat_spots(blocks, 0, 2, half);
    constexpr int together = 256;
    const auto n = static_cast<int>(flat.spots.size());
    const auto put = [&](int part, std::vector<LogSample>& samples) {
        for (int i = part * together; i < std::min(n, (part + 1) * together); ++i) {
            const FlatSpot& spot = flat.spots[static_cast<std::size_t>(i)];
            if (spot.mean < darkest_foil_t) continue;
            const double sigma = map.noise.sigma(spot.mean) * std::sqrt(flat.correlation / flat.pixels);
            samples.push_back({std::log(spot.mean), std::max(sigma / spot.mean, 2e-4)});
        }
    };
    return find_levels(joined_rows<LogSample>((n + together - 1) / together, put), 3e-4, 15);
}

/// Levels of single even blocks: laminate between copper may be nowhere wide enough for more.
std::vector<LogLevel> levels_of_blocks(const TransmissionMap& map, const Blocks& blocks) {
    const auto put = [&](int row, std::vector<LogSample>& samples) {
        for (std::size_t i = blocks.at(0, row); i < blocks.at(0, row + 1); ++i) {
            const double t = blocks.mean[i];
            if (t < darkest_foil_t) continue;
            const double sigma = map.noise.sigma(t);
            // 15 degrees of freedom: 1.6 passes 93 %, an edge of a few sigmas does not pass.
            if (sigma <= 0 || blocks.variance[i] > 1.6 * sigma * sigma) continue;
            samples.push_back(
                {std::log(t), std::max(sigma * std::sqrt(map.noise.correlation) / block_px / t, 2e-4)});
        }
    };
    return find_levels(joined_rows<LogSample>(blocks.rows, put), 3e-4, 40);
}

/// Adds the brightest level of board among the narrow places when nothing wide is as bright. Not where noise
/// hides the slope of an edge of the board within a block: such blocks pass for even, half way to the open
/// beam.
void add_narrow_laminate(const TransmissionMap& map, const Blocks& blocks, std::vector<LogLevel>& levels) {
    double brightest = -10;
    for (const LogLevel& level : levels)
        if (level.value < -open_p) brightest = std::max(brightest, level.value);
    if (1 - std::exp(brightest) < clear_edge * map.noise.sigma(1.0)) return;
    for (const LogLevel& level : levels_of_blocks(map, blocks)) {
        if (level.value > -open_p) continue;
        if (level.value > brightest + 0.01 && level.value < -1.5 * open_p) levels.push_back(level);
        return; // brightest first
    }
}

/// Peaks of attenuation among the picture's flat spots, ascending. Spots of 20 px tell foils apart where
/// those of 12 px cannot; the small ones add levels that live in narrow places only (rings, lands), where
/// they stand clear.
std::vector<LogLevel> attenuation_levels(const TransmissionMap& map) {
    const Blocks blocks = make_blocks(map.t.view());
    std::vector<LogLevel> levels = levels_of_size(map, blocks, 2);
    for (const LogLevel& fine : levels_of_size(map, blocks, 1)) {
        const double t = std::exp(fine.value);
        const double clear = 4 * map.noise.sigma(t) / t * std::sqrt(map.noise.correlation) / 12;
        const int near = nearest_level(levels, fine.value);
        if (near < 0 ||
            std::abs(levels[static_cast<std::size_t>(near)].value - fine.value) > std::max(clear, 0.004))
            levels.push_back(fine);
    }
    add_narrow_laminate(map, blocks, levels);
    for (LogLevel& level : levels)
        level.value = -level.value;
    std::sort(levels.begin(), levels.end(),
              [](const LogLevel& a, const LogLevel& b) { return a.value < b.value; });
    return levels;
}

Estimate level_t(const LogLevel& level) {
    const double t = std::exp(-level.value);
    return Estimate::of(t, std::max(t * level.u, 1e-4));
}

/// Brightest levels about 0 are the open beam; what follows is board.
std::vector<LogLevel> take_open(std::vector<LogLevel>& levels) {
    std::vector<LogLevel> open;
    while (!levels.empty() && levels.front().value < open_p) {
        open.push_back(levels.front());
        levels.erase(levels.begin());
    }
    return open;
}

MaterialLevels make_levels(const materials::FoilSteps& steps, const std::vector<LogLevel>& open,
                           const NoiseModel& noise) {
    MaterialLevels levels;
    levels.open = Estimate::of(1, open.empty() ? 0.003 : std::max(open.front().u, 1e-4));
    if (!steps.found) {
        levels.laminate = Estimate::missing("no level of board stands out from the open beam");
        return levels;
    }
    levels.laminate = level_t(steps.laminate);
    double last = levels.laminate.value();
    levels.foils_resolved = !steps.copper.empty();
    for (const LogLevel& copper : steps.copper) {
        levels.copper.push_back(level_t(copper));
        const double t = levels.copper.back().value();
        levels.foils_resolved =
            levels.foils_resolved && last - t > 4 * noise.sigma(t) * std::sqrt(noise.correlation) / 3;
        last = t;
    }
    return levels;
}

/// T below which nothing is taken for copper any more: a step and a half below the last level seen.
double dense_threshold(const MaterialLevels& levels) {
    if (!levels.laminate) return 0.3;
    const double laminate = levels.laminate.value();
    if (levels.copper.empty()) return laminate * 0.5;
    const double last = levels.copper.back().value();
    const double before =
        levels.copper.size() > 1 ? levels.copper[levels.copper.size() - 2].value() : laminate;
    return last * std::pow(last / before, 1.5);
}

} // namespace

double MaterialLevels::of(std::uint8_t material_class) const {
    if (material_class == material::void_air) return open.value_or(1);
    if (material_class == material::dense) return 0;
    if (material_class == material::laminate || copper.empty()) return laminate.value_or(open.value_or(1));
    const std::size_t k = std::min<std::size_t>(material_class - material::first_copper, copper.size() - 1);
    return copper[k].value_or(laminate.value_or(1));
}

MaterialMap classify(const TransmissionMap& map, Watch& watch) {
    watch.progress("materials", 0, 2);
    if (watch.cancelled()) throw Cancelled{};
    std::vector<LogLevel> levels = attenuation_levels(map);
    const std::vector<LogLevel> open = take_open(levels);
    const materials::FoilSteps steps =
        materials::read_steps(levels, 8, materials::shares_beside_open(map, levels));
    MaterialMap result;
    result.levels = make_levels(steps, open, map.noise);
    watch.progress("materials", 1, 2);
    result.classes = materials::make_class_map(map, result.levels, dense_threshold(result.levels), watch);
    watch.progress("materials", 2, 2);
    return result;
}

} // namespace ringwall
