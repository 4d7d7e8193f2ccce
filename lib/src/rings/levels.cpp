// SPDX-License-Identifier: Apache-2.0
#include "rings/levels.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::rings {

namespace {

constexpr int least_flat = 40; ///< px: a level seen on less is a crossing of traces, or noise

/// Peaks of the flat values' logarithms, falling in T.
std::vector<double> peaks_of(const std::vector<FlatValue>& values, double below, double above, double width) {
    const double top = std::log(below), bottom = std::log(above);
    const auto cells = static_cast<std::size_t>(std::clamp((top - bottom) / width, 1.0, 400.0)) + 3;
    std::vector<double> count(cells, 0), sum(cells, 0);
    for (const FlatValue& v : values) {
        if (!v.flat || static_cast<double>(v.t) >= below || static_cast<double>(v.t) <= above) continue;
        const double log_t = std::log(static_cast<double>(v.t));
        const auto cell = std::min(static_cast<std::size_t>((top - log_t) / width) + 1, cells - 2);
        count[cell] += 1;
        sum[cell] += log_t;
    }
    std::vector<double> peaks;
    double last_count = 0;
    for (std::size_t i = 1; i + 1 < cells; ++i) {
        const double here = count[i - 1] + count[i] + count[i + 1];
        if (here < least_flat || count[i] < count[i - 1] || count[i] <= count[i + 1]) continue;
        const double log_t = (sum[i - 1] + sum[i] + sum[i + 1]) / here;
        if (!peaks.empty() && std::log(peaks.back()) - log_t < 2.5 * width) { // shoulders of one peak
            if (here > last_count) peaks.back() = std::exp(log_t), last_count = here;
            continue;
        }
        peaks.push_back(std::exp(log_t));
        last_count = here;
    }
    return peaks;
}

} // namespace

RingLevels local_levels(const RingLevels& picture, const std::vector<FlatValue>& values, double smooth_sigma,
                        double land_t) {
    RingLevels out = picture;
    double ratio = picture.copper.front() / picture.laminate; // of one foil, the thickest if they differ
    for (std::size_t k = 1; k < picture.copper.size(); ++k)
        ratio = std::min(ratio, picture.copper[k] / picture.copper[k - 1]);
    if (land_t > 0) out.dense_below = std::min(out.dense_below, land_t * std::sqrt(ratio));
    const double width = std::max(2 * smooth_sigma, 0.3 * picture.fine_step) / picture.laminate;
    std::vector<double> peaks = peaks_of(values, picture.copper_below, out.dense_below, width);
    if (!peaks.empty()) out.copper = peaks;
    if (picture.wandering) // two foils more than the brightest copper seen are no copper
        out.dense_below = std::min(picture.dense_below,
                                   std::pow(out.copper.front() / out.laminate, 2) * out.copper.front());
    out.thin_ratio = std::max(picture.thin_ratio, std::sqrt(out.copper.front() / out.laminate));
    while (out.copper.back() * std::sqrt(ratio) > out.dense_below)
        out.copper.push_back(out.copper.back() * ratio);
    const double share = picture.wandering ? 0.5 : 0.12;
    out.copper_below =
        std::min(picture.copper_below, out.laminate - share * (out.laminate - out.copper.front()));
    return out;
}

RingLevels moved_to_foot(const RingLevels& picture, double foot_t) {
    RingLevels out = picture;
    const double share = (picture.laminate - foot_t) / picture.step();
    if (share > 0.9) return out; // copper at the wall
    if (share > 0.75) {
        out.why_not =
            "the grey at the hole's wall lies between laminate and copper, and a picture with a tone "
            "curve cannot tell which it is";
        return out;
    }
    out.laminate = foot_t;
    for (double& level : out.copper)
        level *= foot_t / picture.laminate;
    out.dense_below *= 0.5 * foot_t / picture.laminate; // until the copper round the hole is known
    out.copper_below = out.laminate - 0.4 * out.step();
    return out;
}

RingLevels ring_levels(const TransmissionMap& map, const MaterialMap& materials) {
    RingLevels out;
    const MaterialLevels& levels = materials.levels;
    out.open = levels.open.value_or(1.0);
    if (!levels.laminate) {
        out.why_not = "no bare laminate in view to tell copper from";
        return out;
    }
    out.laminate = levels.laminate.value();
    for (const Estimate& level : levels.copper) {
        const double above = out.copper.empty() ? out.laminate : out.copper.back();
        if (!level || level.value() >= above) break;
        out.copper.push_back(level.value());
    }
    if (out.copper.empty()) {
        out.why_not = "no copper level could be told from laminate in this picture";
        return out;
    }
    const double step = out.step();
    // A background that is a little off moves all levels of a neighbourhood together. A ring too narrow for a
    // plateau hangs on the laminate's level, which a linear picture knows well.
    const double laminate_share = map.t_is_physical ? 0.03 : 0.1;
    const auto widened = [&](const Estimate& e, double share) {
        return std::hypot(e ? e.u() : 0.0, share * step);
    };
    double above = out.laminate, weakest = 0;
    for (const double level : out.copper) {
        weakest = std::max(weakest, level / above);
        above = level;
    }
    out.thin_ratio = std::sqrt(weakest);
    out.open_u = widened(levels.open, 0.1);
    out.laminate_u = widened(levels.laminate, laminate_share);
    out.copper_u = widened(levels.copper.front(), 0.1);
    const double last = out.copper.back();
    const double before_last = out.copper.size() > 1 ? out.copper[out.copper.size() - 2] : out.laminate;
    // One foil more than ever seen is a trace over the planes; half a foil beyond that is none.
    out.dense_below = last * std::pow(last / before_last, 1.5);
    const double sigma = map.noise.sigma(out.laminate) * std::sqrt(std::max(1.0, map.noise.correlation));
    // A mean over a Gaussian of 1 px has sigma / (2 sqrt(pi)): what that shows at 9 sigma costs no sharpness.
    out.fine_step = std::clamp(9 * sigma / (2 * std::sqrt(std::numbers::pi)), step / 6, step);
    // A tone curve and local shading move the levels of a display picture: only half way is between them.
    out.wandering = !map.t_is_physical;
    if (out.wandering) out.fine_step = step;
    out.copper_below = out.laminate - 0.5 * out.fine_step;
    out.blur_px = std::max(map.blur_sigma_px.value_or(1.0), 0.4);
    out.blur_u_px = map.blur_sigma_px ? std::max(map.blur_sigma_px.u(), 0.01 * out.blur_px) : 0.3;
    out.noise = map.noise;
    if (out.noise.photons <= 0 && out.noise.readout <= 0)
        out.noise.readout = 0.03 * step; // flat display picture
    return out;
}

} // namespace ringwall::rings
