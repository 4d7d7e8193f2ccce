// SPDX-License-Identifier: Apache-2.0
#include "holes/grey_scale.hpp"

#include "bridge/parallel.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numeric>
#include <optional>
#include <vector>

namespace ringwall::holes {
namespace {

constexpr double bin_width = 0.004;
constexpr int bins = 325; // up to T = 1.3
constexpr double quiet_noise = 0.006;

struct Histogram {
    std::array<double, bins> counts{};
    double total = 0;
    [[nodiscard]] double at(int bin) const { return counts[static_cast<std::size_t>(bin)]; }
};

double level_of(double bin) {
    return (bin + 0.5) * bin_width;
}

/// Of pixels that do not differ from their neighbours beyond noise: edges would fill the valleys between
/// materials.
Histogram histogram_of_flats(ImageView<const float> t, double noise) {
    Histogram h;
    const auto most = static_cast<float>(4 * noise);
    for (int y = 1; y + 1 < t.height(); ++y)
        for (int x = 1; x + 1 < t.width(); ++x) {
            const float dx = std::abs(t(x + 1, y) - t(x - 1, y)), dy = std::abs(t(x, y + 1) - t(x, y - 1));
            if (dx > most || dy > most) continue;
            const int bin = std::clamp(static_cast<int>(t(x, y) / bin_width), 0, bins - 1);
            h.counts[static_cast<std::size_t>(bin)] += 1;
            h.total += 1;
        }
    return h;
}

Histogram smoothed(const Histogram& from, double sigma) {
    Histogram out;
    out.total = from.total;
    const int reach = std::max(1, static_cast<int>(std::ceil(3 * sigma)));
    double sum = 0;
    for (int offset = -reach; offset <= reach; ++offset)
        sum += std::exp(-0.5 * offset * offset / (sigma * sigma));
    for (int offset = -reach; offset <= reach; ++offset) {
        const double weight = std::exp(-0.5 * offset * offset / (sigma * sigma)) / sum;
        for (int i = std::max(0, -offset); i < std::min(bins, bins - offset); ++i)
            out.counts[static_cast<std::size_t>(i)] += weight * from.at(i + offset);
    }
    return out;
}

/// Highest level in [from, to] where the histogram has a peak of at least `least` that stands out from the
/// valley above it (towards the void) by a third.
std::optional<double> top_mode(const Histogram& h, double from, double to, double least) {
    const int first = std::max(1, static_cast<int>(from / bin_width));
    const int last = std::min(bins - 2, static_cast<int>(to / bin_width));
    double valley = last >= first ? h.at(last) : 0;
    for (int i = last; i >= first; --i) {
        valley = std::min(valley, h.at(i));
        const bool peak = h.at(i) >= h.at(i - 1) && h.at(i) > h.at(i + 1);
        if (peak && h.at(i) >= least && h.at(i) > 1.33 * valley) return level_of(i);
    }
    return std::nullopt;
}

/// The void's mode: the fullest place within `reach` of 1 (its lower neighbours may be laminate).
std::optional<double> void_mode(const Histogram& h, double reach) {
    const int first = static_cast<int>((1 - reach) / bin_width),
              last = static_cast<int>((1 + reach) / bin_width);
    int best = first;
    for (int i = first; i <= last; ++i)
        if (h.at(i) > h.at(best)) best = i;
    if (best == first || h.at(best) <= 0) return std::nullopt;
    return level_of(best);
}

/// Sigma from second differences of pixels `lag` apart between the ends of the scale, by the quartile that
/// texture disturbs least.
double noise_from_differences(ImageView<const float> t, int lag) {
    constexpr float low = 0.15F, high = 0.985F; // beyond these a stretched scale may be cut off flat
    const int step = std::max(1, static_cast<int>(t.size() / 400000));
    const auto usable = [](float value) { return value >= low && value <= high; };
    std::vector<int> before(static_cast<std::size_t>(t.height()) + 1, 0); // usable pixels of the rows above
    bridge::over_rows(t.height(), [&](int first, int last) {
        for (int y = first; y < last; ++y)
            before[static_cast<std::size_t>(y) + 1] =
                static_cast<int>(std::count_if(t.row(y) + lag, t.row(y) + t.width() - lag, usable));
    });
    std::partial_sum(before.begin(), before.end(), before.begin());
    std::vector<float> differences(static_cast<std::size_t>((before.back() + step - 1) / step));
    bridge::over_rows(t.height(), [&](int first, int last) {
        for (int y = first; y < last; ++y) {
            const float* row = t.row(y);
            const int count = before[static_cast<std::size_t>(y)];
            int taken = (count + step - 1) / step, left_out = taken * step - count; // until the next is taken
            for (int x = lag; x + lag < t.width(); ++x) {
                if (!usable(row[x]) || left_out-- > 0) continue;
                differences[static_cast<std::size_t>(taken++)] =
                    std::abs(2 * row[x] - row[x - lag] - row[x + lag]);
                left_out = step - 1;
            }
        }
    });
    if (differences.size() < 100) return 0.01;
    const auto quartile = differences.begin() + static_cast<std::ptrdiff_t>(differences.size() / 4);
    std::nth_element(differences.begin(), quartile, differences.end());
    return *quartile / (0.3186 * std::sqrt(6.0)); // 25 % of |normal| lie below 0.3186 sigma
}

/// A picture cut off, filtered or packed for looking at may show no noise where it is flat, and yet there is
/// some on the board; fine texture everywhere may pass for correlated noise. Differences of neighbours bound
/// both, from above those of next neighbours, which smoothing in the cabinet takes less from.
double noise_at(const TransmissionMap& map, double open) {
    constexpr double believable = 0.004;
    const double known = map.noise.sigma(open) * std::sqrt(std::max(map.noise.correlation, 1.0));
    const double fine = noise_from_differences(map.t.view(), 1);
    const double most = std::max(2e-3, std::min(3 * fine, 1.5 * noise_from_differences(map.t.view(), 2)));
    return std::clamp(known, std::max(known > believable ? 0.0 : std::min(fine, most), 1e-3), most);
}

/// Coarse enough that noise does not join the levels, no coarser.
int quiet_level(const Pyramid& pyramid, double noise) {
    int k = 0;
    while (k + 1 < pyramid.levels() &&
           (noise / Pyramid::pixel(k) > quiet_noise || pyramid.level(k).size() > 2000000))
        ++k;
    return k;
}

double foil_of(const MaterialLevels& levels) {
    if (!levels.laminate || levels.copper.empty() || !levels.copper.front()) return 0;
    return std::log(levels.laminate.value() / std::max(levels.copper.front().value(), 1e-3));
}

} // namespace

GreyScale read_grey_scale(const TransmissionMap& map, const Pyramid& pyramid, const MaterialMap* materials) {
    GreyScale grey;
    grey.blur_px = std::clamp(map.blur_sigma_px.value_or(1.0), 0.4, 3.0);
    grey.noise = noise_at(map, 1.0);
    grey.doubtful = !map.t_is_physical;
    const int k = quiet_level(pyramid, grey.noise);
    const double noise = std::max(grey.noise / Pyramid::pixel(k), 0.003);
    const Histogram modes =
        smoothed(histogram_of_flats(pyramid.level(k), noise), std::max(1.0, noise / bin_width));
    grey.open = void_mode(modes, 0.025).value_or(1.0);
    std::optional<double> laminate;
    if (materials) {
        if (materials->levels.open) grey.open = materials->levels.open.value();
        if (materials->levels.laminate) laminate = materials->levels.laminate.value();
        grey.foil = foil_of(materials->levels);
    }
    if (!laminate) laminate = top_mode(modes, 0.3, grey.open - 0.03, std::max(4.0, 1e-4 * modes.total));
    grey.board = laminate.value_or(grey.open - 0.05);
    grey.tolerance = std::clamp(0.5 * (laminate ? grey.open - *laminate : 0.05), 0.02, 0.1);
    return grey;
}

} // namespace ringwall::holes
