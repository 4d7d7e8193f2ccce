// SPDX-License-Identifier: Apache-2.0
#include "materials/foil_steps.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::materials {
namespace {

using exposure::LogLevel;

constexpr double most_hardening =
    0.06; // a foil more takes at most this share less: 30 to 150 keV tubes stay below

double step_at(double foil, double hardening, int k) {
    return foil * k * (1 - hardening * (k - 1));
}

/// How well one choice of first level and step reads the peaks.
struct Reading {
    std::size_t first = 0;
    double foil = 0;
    double hardening = 0;
    double score = -1e9;
    std::vector<int> level_of_step; ///< [k]: index into the levels, -1 when that step was not seen
};

/// Index of the level that step k would be, -1 when none is near enough.
int level_near(const std::vector<LogLevel>& levels, double p, double tolerance) {
    const int i = exposure::nearest_level(levels, p);
    return i >= 0 && std::abs(levels[static_cast<std::size_t>(i)].value - p) <= tolerance ? i : -1;
}

Reading read_with(const std::vector<LogLevel>& levels, std::size_t first, double foil, double hardening,
                  int most_foils) {
    Reading reading;
    reading.first = first;
    reading.foil = foil;
    reading.hardening = hardening;
    reading.level_of_step = {static_cast<int>(first)};
    const double base = levels[first].value;
    double total = 0, explained = std::sqrt(levels[first].count), missed = 0;
    for (const LogLevel& level : levels)
        total += std::sqrt(level.count);
    int last_seen = 0;
    for (int k = 1; k <= most_foils; ++k) {
        const double tolerance = foil * (0.06 + 0.02 * (k - 1)) + 1e-3;
        const int i = level_near(levels, base + step_at(foil, hardening, k), tolerance);
        reading.level_of_step.push_back(i);
        if (i < 0) continue;
        missed += k - last_seen - 1;
        last_seen = k;
        const LogLevel& level = levels[static_cast<std::size_t>(i)];
        const double off = (level.value - base - step_at(foil, hardening, k)) / tolerance;
        explained += std::sqrt(level.count) * (1 - 0.3 * off * off);
    }
    reading.level_of_step.resize(static_cast<std::size_t>(last_seen) + 1);
    reading.score = explained / total - 0.15 * missed - 0.05 * static_cast<double>(first) - hardening;
    return reading;
}

/// Range of levels that may be the laminate.
struct Firsts {
    std::size_t from = 0, to = 1;
};

/// The brightest level is the laminate, unless it is a part's body beside the board: then another has far
/// more of the open beam's border, and neither that one nor a brighter one is a plane (planes fill the board,
/// and bores with hardly a ring, or lands, are bordered by copper).
Firsts firsts_by_border(const std::vector<LogLevel>& levels, const std::vector<double>& beside_open) {
    if (beside_open.empty()) return {};
    const auto most = std::max_element(beside_open.begin(), beside_open.end());
    const auto at = static_cast<std::size_t>(most - beside_open.begin());
    const double brighter = at > 0 ? *std::max_element(beside_open.begin(), most) : 0;
    double fullest = 0;
    for (const LogLevel& level : levels)
        fullest = std::max(fullest, level.count);
    const auto is_plane = [&](const LogLevel& level) { return level.count > 0.5 * fullest; };
    const auto chosen = levels.begin() + static_cast<std::ptrdiff_t>(at);
    const bool far_more = *most > 0.25 && brighter < 0.25 * *most;
    // Lands border the open beam too, but bare laminate beside them covers more than they do.
    const bool more_and_wider = *most > 0.18 && brighter < 0.35 * *most && brighter < 0.1 &&
                                std::all_of(levels.begin(), chosen, [&](const LogLevel& level) {
                                    return level.count < chosen->count;
                                });
    const bool besides_parts =
        at <= 3 && (far_more || more_and_wider) && std::none_of(levels.begin(), chosen + 1, is_plane);
    return besides_parts ? Firsts{at, at} : Firsts{0, 0};
}

Reading best_reading(const std::vector<LogLevel>& levels, int most_foils, const Firsts& firsts) {
    Reading best;
    const std::size_t n = std::min<std::size_t>(levels.size(), 8);
    for (std::size_t first = firsts.from; first <= std::min(firsts.to, n - 1); ++first)
        for (std::size_t other = first + 1; other < n; ++other)
            for (const double hardening : {0.0, 0.01, 0.02, 0.03, 0.045, most_hardening}) {
                const double foil = levels[other].value - levels[first].value;
                if (foil < 0.004) continue;
                Reading reading = read_with(levels, first, foil, hardening, most_foils);
                if (reading.score > best.score + 1e-9) best = std::move(reading);
            }
    return best;
}

} // namespace

FoilSteps read_steps(const std::vector<LogLevel>& levels, int most_foils,
                     const std::vector<double>& beside_open) {
    FoilSteps steps;
    if (levels.empty()) return steps;
    const Firsts firsts = firsts_by_border(levels, beside_open);
    steps.found = true;
    steps.laminate = levels[firsts.from];
    if (levels.size() < firsts.from + 2) return steps;
    const Reading reading = best_reading(levels, most_foils, firsts);
    if (reading.level_of_step.size() < 2) return steps;
    steps.laminate = levels[reading.first];
    steps.foil = reading.foil;
    steps.hardening = reading.hardening;
    double most = 0;
    for (const LogLevel& level : levels)
        most = std::max(most, level.count);
    for (std::size_t k = 1; k < reading.level_of_step.size(); ++k) {
        LogLevel level;
        level.value = steps.laminate.value + step_at(reading.foil, reading.hardening, static_cast<int>(k));
        level.u = 0.05 * reading.foil;
        const int i = reading.level_of_step[k];
        // Crossings of traces are never flat: a rare level off the staircase is their mixture, not a level.
        const bool rare = i >= 0 && k > 1 && levels[static_cast<std::size_t>(i)].count < 0.02 * most;
        if (i >= 0 && !rare) level = levels[static_cast<std::size_t>(i)];
        steps.copper.push_back(level);
    }
    return steps;
}

} // namespace ringwall::materials
