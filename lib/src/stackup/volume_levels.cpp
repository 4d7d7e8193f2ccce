// SPDX-License-Identifier: Apache-2.0
#include "stackup/sheet.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cmath>
#include <string>

namespace ringwall {
namespace {

double quantile_of(std::vector<double>& values, double share) {
    const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + at, values.end());
    return values[static_cast<std::size_t>(at)];
}

std::vector<double> all_values(const BlockProfiles& blocks) {
    std::vector<double> values;
    values.reserve(static_cast<std::size_t>(blocks.count()) * static_cast<std::size_t>(blocks.slices()));
    for (int b = 0; b < blocks.count(); ++b)
        for (const float v : blocks.of(b))
            values.push_back(static_cast<double>(v));
    return values;
}

/// Copper stands far from all else, so the dense side has the longer tail.
double sign_of(std::vector<double>& values, DenseSide dense) {
    if (dense == DenseSide::bright) return 1;
    if (dense == DenseSide::dark) return -1;
    const double middle = quantile_of(values, 0.5);
    return quantile_of(values, 0.9995) - middle >= middle - quantile_of(values, 0.0005) ? 1 : -1;
}

/// The two first and the two last slices of every block.
std::vector<double> end_values(const BlockProfiles& blocks, double sign) {
    std::vector<double> ends;
    for (int b = 0; b < blocks.count(); ++b) {
        const auto z = blocks.of(b);
        for (const float v : {z[0], z[1], z[z.size() - 2], z[z.size() - 1]})
            ends.push_back(sign * static_cast<double>(v));
    }
    return ends;
}

/// Of the values at the volume's ends: air, also where the board is cut off at one of them.
double air_level(std::vector<double> ends, double all_spread) {
    const double low = quantile_of(ends, 0.05), high = quantile_of(ends, 0.95);
    if (high - low > 0.02 * all_spread) std::erase_if(ends, [&](double v) { return v > (low + high) / 2; });
    return quantile_of(ends, 0.5);
}

double deviation(std::vector<double> values, double about) {
    for (double& v : values)
        v = std::abs(v - about);
    return 1.4826 * quantile_of(values, 0.5);
}

/// The commonest value above air on a scale of ratios (bins of 4 %): laminate is most of a board, and copper
/// spreads over all values between.
double commonest_above(const std::vector<double>& values, double sign, double air, double least) {
    constexpr double bin = 0.04;
    std::vector<int> counts;
    for (const double stored : values) {
        const double over = (sign * stored - air) / least;
        if (over <= 1) continue;
        const auto at = static_cast<std::size_t>(std::log(over) / bin);
        if (at >= 4000) continue;
        if (at >= counts.size()) counts.resize(at + 1);
        ++counts[at];
    }
    std::size_t best = 0;
    double most = 0;
    for (std::size_t i = 1; i + 1 < counts.size(); ++i) {
        const double sum = counts[i - 1] + counts[i] + counts[i + 1];
        if (sum > most) most = sum, best = i;
    }
    return most < 1 ? 0 : least * std::exp((static_cast<double>(best) + 0.5) * bin);
}

/// Middle of the values within a quarter of a guess: the bins' width taken out.
double centred(const std::vector<double>& values, double sign, double air, double guess) {
    std::vector<double> near;
    for (const double stored : values) {
        const double over = sign * stored - air;
        if (std::abs(over - guess) < 0.12 * guess) near.push_back(over);
    }
    return near.empty() ? guess : quantile_of(near, 0.5);
}

} // namespace

VolumeLevels volume_levels(const BlockProfiles& blocks, DenseSide dense) {
    std::vector<double> values = all_values(blocks);
    VolumeLevels levels;
    levels.sign = sign_of(values, dense);
    std::vector<double> ends = end_values(blocks, levels.sign);
    levels.air = air_level(ends, quantile_of(values, 0.995) - quantile_of(values, 0.005));
    const double noise = std::max(deviation(ends, levels.air), 1e-9 * std::abs(levels.air) + 1e-12);
    // Ten sigma of a block's mean: one block in any volume by chance. Air's own spread (rings) is in it.
    const double step = commonest_above(values, levels.sign, levels.air, 10 * noise);
    if (step <= 0)
        throw Error(Fault::nothing_measured,
                    "no board in this volume: nothing stands out from the air at its ends");
    levels.laminate = levels.air + centred(values, levels.sign, levels.air, step);
    levels.block_noise = noise / (levels.laminate - levels.air);
    const double least = levels.sign > 0 ? quantile_of(values, 0.01) : -quantile_of(values, 0.99);
    if (levels.air - least > 0.4 * (levels.laminate - levels.air))
        throw Error(Fault::nothing_measured,
                    "the first and last slices are not air: the board leaves the volume, or lies across it");
    return levels;
}

void check_inside(const BlockProfiles& blocks, const VolumeLevels& levels) {
    const auto n = static_cast<std::size_t>(blocks.slices());
    int at_first = 0, at_last = 0, anywhere = 0;
    std::size_t first = n, last = 0;
    for (int b = 0; b < blocks.count(); ++b) {
        const auto z = blocks.of(b);
        const auto board = [&](std::size_t i) { return levels.steps(static_cast<double>(z[i])) > 0.5; };
        std::size_t low = 0, high = n;
        while (low < n && !board(low))
            ++low;
        if (low == n) continue;
        while (!board(high - 1))
            --high;
        ++anywhere;
        first = std::min(first, low), last = std::max(last, high - 1);
        at_first += low == 0 ? 1 : 0;
        at_last += high == n ? 1 : 0;
    }
    constexpr double most_cut = 0.05; // of the board: a part or a solder joint may stand out of the volume
    if (std::max(at_first, at_last) <= most_cut * anywhere) return;
    throw Error(Fault::nothing_measured,
                "the board leaves the volume: seen from slice " + std::to_string(first + 1) + " to " +
                    std::to_string(last + 1) + " of 1 to " + std::to_string(n) + ", over " +
                    std::to_string(100 * at_first / anywhere) + " % of it already in the first slice, over " +
                    std::to_string(100 * at_last / anywhere) + " % still in the last");
}

std::vector<std::optional<BlockFaces>> block_faces(const BlockProfiles& blocks, const VolumeLevels& levels) {
    std::vector<std::optional<BlockFaces>> faces(static_cast<std::size_t>(blocks.count()));
    for (int b = 0; b < blocks.count(); ++b) {
        const auto z = blocks.of(b);
        const int n = blocks.slices();
        const auto v = [&](int i) {
            return levels.steps(static_cast<double>(z[static_cast<std::size_t>(i)]));
        };
        int low = 0, high = n - 1;
        while (low < n && v(low) < 0.5)
            ++low;
        while (high > low && v(high) < 0.5)
            --high;
        if (low == 0 || high == n - 1 || high - low < 4) continue;
        const auto crossing = [&](int outside, int inside) {
            const double share = (0.5 - v(outside)) / (v(inside) - v(outside));
            return outside + share * (inside - outside);
        };
        // A block of the board's rim, or over a hole, holds less than laminate throughout.
        double sum = 0;
        for (int i = low; i <= high; ++i)
            sum += std::min(v(i), 1.0);
        if (sum < 0.9 * (high - low)) continue;
        faces[static_cast<std::size_t>(b)] = BlockFaces{crossing(low - 1, low), crossing(high + 1, high)};
    }
    return faces;
}

} // namespace ringwall
