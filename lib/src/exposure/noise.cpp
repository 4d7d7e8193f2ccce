// SPDX-License-Identifier: Apache-2.0
#include "exposure/noise.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::exposure {
namespace {

constexpr int most_bins = 48;
constexpr int fewest_in_bin = 12;

struct Bin {
    double mean = 0;
    double variance = 0;
    double u = 0; ///< of the variance
};

/// Of the spots that are not cut off.
std::vector<Bin> make_bins(const std::vector<FlatSpot>& spots, double degrees) {
    std::vector<float> means;
    means.reserve(spots.size());
    for (const FlatSpot& s : spots)
        if (!s.cut) means.push_back(s.mean);
    const double low = quantile(means, 0.002), high = quantile(means, 0.998);
    if (!(high > low)) return {};
    std::vector<std::vector<float>> variances(most_bins);
    std::vector<double> sums(most_bins, 0);
    for (const FlatSpot& s : spots) {
        if (s.cut) continue;
        const auto b = static_cast<int>((s.mean - low) / (high - low) * most_bins);
        if (b < 0 || b >= most_bins) continue;
        variances[static_cast<std::size_t>(b)].push_back(s.variance);
        sums[static_cast<std::size_t>(b)] += s.mean;
    }
    // Median of chi-square over its degrees of freedom (Wilson and Hilferty's cube).
    const double median_share = std::pow(1 - 2 / (9 * degrees), 3);
    std::vector<Bin> bins;
    for (std::size_t b = 0; b < variances.size(); ++b) {
        const auto n = static_cast<double>(variances[b].size());
        if (n < fewest_in_bin) continue;
        Bin bin;
        bin.mean = sums[b] / n;
        bin.variance = quantile(variances[b], 0.5) / median_share;
        bin.u = std::max(bin.variance * std::sqrt(2 / degrees) * 1.25 / std::sqrt(n), bin.variance * 0.005);
        bins.push_back(bin);
    }
    return bins;
}

/// Weighted straight line; weights 0 leave a bin out.
NoiseLine line_through(const std::vector<Bin>& bins, const std::vector<double>& weights) {
    double w = 0, x = 0, y = 0;
    for (std::size_t i = 0; i < bins.size(); ++i) {
        w += weights[i];
        x += weights[i] * bins[i].mean;
        y += weights[i] * bins[i].variance;
    }
    NoiseLine line;
    if (w <= 0) return line;
    x /= w;
    y /= w;
    double xx = 0, xy = 0;
    for (std::size_t i = 0; i < bins.size(); ++i) {
        const double d = bins[i].mean - x;
        xx += weights[i] * d * d;
        xy += weights[i] * d * (bins[i].variance - y);
    }
    line.slope = xx > 0 ? xy / xx : 0;
    line.constant = y - line.slope * x;
    double chi = 0;
    int used = 0;
    for (std::size_t i = 0; i < bins.size(); ++i) {
        const double r = bins[i].variance - line.constant - line.slope * bins[i].mean;
        chi += weights[i] * r * r;
        used += weights[i] > 0;
    }
    line.slope_u = xx > 0 && used > 2 ? std::sqrt(std::max(1.0, chi / (used - 2)) / xx) : 0;
    line.bins = used;
    return line;
}

/// Tukey's weight, but bins below the line keep more of theirs: structure only ever adds variance.
double weight(const Bin& bin, const NoiseLine& line, double scale) {
    const double r = (bin.variance - line.constant - line.slope * bin.mean) / (bin.u * scale);
    const double limit = r > 0 ? 4.0 : 12.0;
    if (std::abs(r) >= limit) return 0;
    const double t = 1 - (r / limit) * (r / limit);
    return t * t / (bin.u * bin.u);
}

} // namespace

double NoiseLine::variance(double mean) const {
    const double at = std::clamp(mean, std::min(lowest, highest), std::max(lowest, highest));
    const double floor = 0.02 * (std::abs(constant) + std::abs(slope * highest)) + 1e-30;
    // Below the range seen the line goes on (towards no beam); above it the line has nothing to say.
    return std::max(constant + slope * (slope > 0 ? std::min(mean, at) : at), floor);
}

NoiseLine fit_noise(const std::vector<FlatSpot>& spots, double degrees) {
    const auto cut = std::count_if(spots.begin(), spots.end(), [](const FlatSpot& s) { return s.cut; });
    if (spots.size() < static_cast<std::size_t>(cut) + 2 * fewest_in_bin) return {};
    const std::vector<Bin> bins = make_bins(spots, degrees);
    if (bins.empty()) return {};
    std::vector<double> weights;
    weights.reserve(bins.size());
    for (const Bin& bin : bins)
        weights.push_back(bin.u > 0 ? 1 / (bin.u * bin.u) : 0);
    NoiseLine line = line_through(bins, weights);
    for (int round = 0; round < 8; ++round) {
        std::vector<float> residuals;
        for (const Bin& bin : bins)
            if (bin.u > 0)
                residuals.push_back(static_cast<float>(
                    std::abs(bin.variance - line.constant - line.slope * bin.mean) / bin.u));
        const double scale = residuals.empty() ? 1 : std::max(1.0, 1.4826 * quantile(residuals, 0.5));
        for (std::size_t i = 0; i < bins.size(); ++i)
            weights[i] = bins[i].u > 0 ? weight(bins[i], line, scale) : 0;
        line = line_through(bins, weights);
    }
    line.lowest = bins.front().mean;
    line.highest = bins.back().mean;
    return line;
}

} // namespace ringwall::exposure
