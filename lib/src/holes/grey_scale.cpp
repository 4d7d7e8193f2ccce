// SPDX-License-Identifier: Apache-2.0
#include "holes/grey_scale.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <optional>
#include <vector>

namespace ringwall::holes {
namespace {

constexpr double bin_width = 0.004;
constexpr int bins = 325; // up to T = 1.3
using Histogram = std::array<double, bins>;

/// Of 2x2 means on a grid of about a million places: enough for a mode, whatever the size of the picture.
Histogram histogram_of(ImageView<const float> t) {
    Histogram counts{};
    const int step = std::max(2, static_cast<int>(std::sqrt(static_cast<double>(t.size()) / 1e6)));
    for (int y = 0; y + 1 < t.height(); y += step)
        for (int x = 0; x + 1 < t.width(); x += step) {
            const float mean = 0.25F * (t(x, y) + t(x + 1, y) + t(x, y + 1) + t(x + 1, y + 1));
            counts[static_cast<std::size_t>(std::clamp(static_cast<int>(mean / bin_width), 0, bins - 1))] +=
                1;
        }
    return counts;
}

/// Gaussian of `sigma` bins.
Histogram smoothed(const Histogram& counts, double sigma) {
    Histogram out{};
    const int reach = std::max(1, static_cast<int>(std::ceil(3 * sigma)));
    for (int offset = -reach; offset <= reach; ++offset) {
        const double weight = std::exp(-0.5 * offset * offset / (sigma * sigma));
        for (int i = std::max(0, -offset); i < std::min(bins, bins - offset); ++i)
            out[static_cast<std::size_t>(i)] += weight * counts[static_cast<std::size_t>(i + offset)];
    }
    return out;
}

double level_of(int bin) {
    return (bin + 0.5) * bin_width;
}

/// Highest local maximum in [from, to] that holds at least `share` of the highest one there.
std::optional<double> top_mode(const Histogram& h, double from, double to, double share) {
    const int first = std::max(1, static_cast<int>(from / bin_width));
    const int last = std::min(bins - 2, static_cast<int>(to / bin_width));
    if (first >= last) return std::nullopt;
    const double highest = *std::max_element(h.begin() + first, h.begin() + last + 1);
    for (int i = last; i >= first; --i) {
        const auto at = static_cast<std::size_t>(i);
        if (h[at] > 0 && h[at] >= share * highest && h[at] >= h[at - 1] && h[at] >= h[at + 1])
            return level_of(i);
    }
    return std::nullopt;
}

/// Sigma from differences two pixels apart, by the quartile that texture disturbs least.
double noise_from_differences(ImageView<const float> t) {
    std::vector<float> differences;
    const int step = std::max(1, static_cast<int>(t.size() / 200000));
    int count = 0;
    for (int y = 0; y < t.height(); ++y)
        for (int x = 1; x + 1 < t.width(); ++x)
            if (count++ % step == 0) differences.push_back(std::abs(2 * t(x, y) - t(x - 1, y) - t(x + 1, y)));
    if (differences.empty()) return 0.01;
    const auto quartile = differences.begin() + static_cast<std::ptrdiff_t>(differences.size() / 4);
    std::nth_element(differences.begin(), quartile, differences.end());
    return *quartile / (0.3186 * std::sqrt(6.0)); // 25 % of |normal| lie below 0.3186 sigma
}

double noise_at(const TransmissionMap& map, double open) {
    const double known = map.noise.sigma(open) * std::sqrt(std::max(map.noise.correlation, 1.0));
    return std::max(known > 0 ? known : noise_from_differences(map.t.view()), 1e-3);
}

} // namespace

GreyScale read_grey_scale(const TransmissionMap& map, const MaterialMap* materials) {
    GreyScale grey;
    grey.blur_px = std::clamp(map.blur_sigma_px.value_or(1.0), 0.4, 3.0);
    grey.noise = noise_at(map, 1.0);
    const Histogram counts = histogram_of(map.t.view());
    const Histogram modes = smoothed(counts, std::max(1.0, 0.5 * grey.noise / bin_width));
    const double near = std::clamp(grey.noise, 0.015, 0.06);
    grey.open = top_mode(modes, 1 - near, 1 + near, 0.3).value_or(1.0);
    if (materials && materials->levels.open) grey.open = materials->levels.open.value();
    std::optional<double> laminate;
    if (materials && materials->levels.laminate) laminate = materials->levels.laminate.value();
    if (!laminate) laminate = top_mode(modes, 0.3, grey.open - std::max(0.035, 1.5 * grey.noise), 0.3);
    const double step = laminate ? grey.open - *laminate : 0.05;
    grey.tolerance = std::clamp(0.5 * step, 0.02, 0.1);
    return grey;
}

} // namespace ringwall::holes
