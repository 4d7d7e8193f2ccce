// SPDX-License-Identifier: Apache-2.0
#include "exposure/levels.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

namespace ringwall::exposure {
namespace {

constexpr double two_root_pi = 3.5449077018110318;
constexpr double smoothing_share = 0.6; // of the samples' own noise: more would merge neighbours

/// Counts on a regular grid of log values, with the width of smoothing for each bin.
struct Density {
    double low = 0;
    double step = 1;
    std::vector<double> counts;
    std::vector<double> sigma;
    std::vector<double> smooth;
    [[nodiscard]] double value(double bin) const { return low + (bin + 0.5) * step; }
    /// Samples that a smoothed height stands for: those under a Gaussian peak of the smoothing's width.
    [[nodiscard]] double under(std::size_t bin) const {
        return smooth[bin] * two_root_pi * sigma[bin] / step;
    }
};

Density make_density(const std::vector<LogSample>& samples, double least_sigma) {
    Density density;
    double low = samples[0].value, high = low, fine = samples[0].sigma;
    for (const LogSample& s : samples) {
        low = std::min(low, s.value);
        high = std::max(high, s.value);
        fine = std::min(fine, s.sigma);
    }
    density.step = std::max(std::max(smoothing_share * fine, least_sigma) / 3, (high - low) / 20000 + 1e-12);
    density.low = low - 2 * density.step;
    const auto bins = static_cast<std::size_t>((high - density.low) / density.step) + 4;
    density.counts.assign(bins, 0);
    density.sigma.assign(bins, 0);
    for (const LogSample& s : samples) {
        const auto b = static_cast<std::size_t>((s.value - density.low) / density.step);
        density.counts[b] += 1;
        density.sigma[b] += s.sigma;
    }
    double last = least_sigma;
    for (std::size_t b = bins; b-- > 0;) { // from the bright end, where the noise is best known
        if (density.counts[b] > 0)
            last = std::max(least_sigma, smoothing_share * density.sigma[b] / density.counts[b]);
        density.sigma[b] = last;
    }
    return density;
}

void smooth(Density& density) {
    const auto bins = static_cast<std::ptrdiff_t>(density.counts.size());
    density.smooth.assign(density.counts.size(), 0);
    for (std::ptrdiff_t b = 0; b < bins; ++b) {
        const double n = density.counts[static_cast<std::size_t>(b)];
        if (n == 0) continue;
        const double width = density.sigma[static_cast<std::size_t>(b)] / density.step;
        const auto reach = static_cast<std::ptrdiff_t>(std::ceil(4 * width));
        for (std::ptrdiff_t away = 0; away <= reach; ++away) {
            const double z = static_cast<double>(away) / width;
            const double height = n * std::exp(-0.5 * z * z) / (width * 2.5066282746310002);
            if (b - away >= 0) density.smooth[static_cast<std::size_t>(b - away)] += height;
            if (away > 0 && b + away < bins) density.smooth[static_cast<std::size_t>(b + away)] += height;
        }
    }
}

/// Topographic prominence on one side: how far one must go down before going higher; the height itself at the
/// end.
double lowest_on_the_way_up(const Density& d, std::size_t peak, int direction) {
    double lowest = d.smooth[peak];
    for (auto b = static_cast<std::ptrdiff_t>(peak) + direction;
         b >= 0 && b < static_cast<std::ptrdiff_t>(d.smooth.size()); b += direction) {
        const double h = d.smooth[static_cast<std::size_t>(b)];
        if (h > d.smooth[peak]) return lowest;
        lowest = std::min(lowest, h);
    }
    return 0;
}

bool stands_out(const Density& d, std::size_t peak, double fewest) {
    const double n = d.under(peak);
    if (n < fewest) return false;
    const double saddle = std::max(lowest_on_the_way_up(d, peak, -1), lowest_on_the_way_up(d, peak, +1));
    const double lost = saddle * two_root_pi * d.sigma[peak] / d.step;
    return n - lost > 4 * std::sqrt(n);
}

/// The samples' values within `reach` of a level, in their order: most samples are far from it.
class Near {
  public:
    Near(const std::vector<LogSample>& samples, double reach) : samples_(samples), reach_(reach) {}
    /// Those that lie within `width` of `level` are among these.
    const std::vector<double>& around(double level, double width) {
        if (values_.empty() || std::abs(level - middle_) + width > reach_) gather(level);
        return values_;
    }

  private:
    void gather(double level) {
        middle_ = level;
        values_.clear();
        for (const LogSample& s : samples_)
            if (std::abs(s.value - level) <= reach_) values_.push_back(s.value);
    }
    const std::vector<LogSample>& samples_;
    double reach_;
    double middle_ = 0;
    std::vector<double> values_;
};

/// Mean of the samples within 2 sigma of the peak, moved until it rests: symmetric about the peak, so tails
/// weigh little.
LogLevel refine(const std::vector<LogSample>& samples, double start, double sigma) {
    LogLevel level;
    level.value = start;
    Near near(samples, 3 * sigma);
    for (int round = 0; round < 6; ++round) {
        double sum = 0, squares = 0, n = 0;
        for (const double value : near.around(level.value, 2 * sigma)) {
            const double d = value - level.value;
            if (std::abs(d) > 2 * sigma) continue;
            sum += d;
            squares += d * d;
            n += 1;
        }
        if (n < 1) break;
        level.count = n;
        level.u = std::sqrt(squares / n / n);
        level.value += sum / n;
    }
    return level;
}

} // namespace

std::vector<LogLevel> find_levels(const std::vector<LogSample>& samples, double least_sigma, double fewest) {
    if (samples.empty()) return {};
    Density density = make_density(samples, least_sigma);
    smooth(density);
    std::vector<LogLevel> levels;
    for (std::size_t b = density.smooth.size() - 1; b-- > 1;) {
        if (density.smooth[b] <= density.smooth[b + 1] || density.smooth[b] < density.smooth[b - 1]) continue;
        if (!stands_out(density, b, fewest)) continue;
        levels.push_back(
            refine(samples, density.value(static_cast<double>(b)), density.sigma[b] / smoothing_share));
    }
    return levels;
}

int nearest_level(const std::vector<LogLevel>& levels, double value) {
    int best = -1;
    for (std::size_t i = 0; i < levels.size(); ++i)
        if (best < 0 || std::abs(levels[i].value - value) <
                            std::abs(levels[static_cast<std::size_t>(best)].value - value))
            best = static_cast<int>(i);
    return best;
}

} // namespace ringwall::exposure
