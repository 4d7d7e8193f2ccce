// SPDX-License-Identifier: Apache-2.0
#include "rings/least_copper.hpp"

#include "core/special.hpp"

#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

constexpr double z95 = 1.645; // one sided

struct Strip {
    double width_px, length_px;
    [[nodiscard]] double area() const { return width_px * length_px; }
    /// Share of its depth that a Gaussian leaves in it, in the mean.
    [[nodiscard]] double kept_in_mean(double sigma_px) const {
        const auto share = [sigma_px](double side) {
            const double u = side / (std::numbers::sqrt2 * sigma_px);
            return std::erf(u) - (1 - std::exp(-u * u)) * std::numbers::inv_sqrtpi / u;
        };
        return share(width_px) * share(length_px);
    }
    /// The same in its middle.
    [[nodiscard]] double kept_in_middle(double sigma_px) const {
        const double spread = 2 * std::numbers::sqrt2 * sigma_px;
        return std::erf(width_px / spread) * std::erf(length_px / spread);
    }
};

/// The test at work as a straight line: a darkening stands (darkening - even) / sigma standard deviations
/// over the point where it is noticed every second time.
struct Line {
    double even, sigma;
};

Line inside_ring(const CopperSight& sight, const Strip& strip) {
    const double a = sight.alternative, area = strip.area(), sigma = sight.noise;
    const double kept = strip.kept_in_mean(sight.blur_px);
    return {(0.5 * a + sight.evidence * sigma * sigma / (area * a)) / kept, sigma / std::sqrt(area) / kept};
}

Line without_ring(const CopperSight& sight, const Strip& strip) {
    const double kept = strip.kept_in_middle(std::hypot(sight.blur_px, sight.smoothing_px));
    const double deeper = strip.area() < sight.least_area_px2 ? sight.small_z * sight.smooth_noise : 0;
    return {(sight.threshold + deeper) / kept, sight.smooth_noise / kept};
}

Line line_of(const CopperSight& sight, double pixel_mm) {
    const Strip strip{trace_width_mm / pixel_mm, trace_length_mm / pixel_mm};
    return sight.alternative > 0 ? inside_ring(sight, strip) : without_ring(sight, strip);
}

} // namespace

double least_darkening(const CopperSight& sight, double pixel_mm) {
    const Line line = line_of(sight, pixel_mm);
    return line.even + z95 * line.sigma;
}

double chance_of_notice(const CopperSight& sight, double pixel_mm, double darkening) {
    const Line line = line_of(sight, pixel_mm);
    return normal_cdf((darkening - line.even) / line.sigma);
}

} // namespace ringwall::rings
