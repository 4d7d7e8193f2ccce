// SPDX-License-Identifier: Apache-2.0
#include "holes/redraw.hpp"

#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {

namespace {

constexpr int fine = 3; // subdivisions a pixel and axis; odd, so that a pixel's centre is a sample

/// The smoothed rim as a drawing: boundary and wall in any direction, levels by sector.
class Drawing {
  public:
    Drawing(const std::vector<RimBin>& bins, const RimTracing& tracing) : bins_(bins), tracing_(tracing) {}

    [[nodiscard]] double farthest() const {
        const auto end = [](const RimBin& b) { return b.radius_px + b.wall_px; };
        return end(*std::max_element(bins_.begin(), bins_.end(),
                                     [&](const RimBin& a, const RimBin& b) { return end(a) < end(b); }));
    }

    /// T before the blur; edges spread over one step of the fine grid.
    [[nodiscard]] double at(double dx, double dy) const {
        const RimModel& model = tracing_.fit.model;
        const double rho = std::hypot(dx, dy);
        const RimSector& s = model.sectors[static_cast<std::size_t>(model.sector_of(dx, dy))];
        const Rim rim = rim_towards(dx, dy);
        const double inverse = rho > 1e-9 ? 1 / rho : 0;
        const double beyond_px = rim.radius_px + rim.wall_px + model.gap_at(s, dx * inverse, dy * inverse);
        const double outside = model.outside + s.lift;
        const double plateau = s.has_step ? outside + (s.beyond - outside) * past(rho - beyond_px) : outside;
        const double left = past(rho - rim.radius_px), walled = past(rho - rim.radius_px - rim.wall_px);
        return model.open * (1 - left) + tracing_.shared.barrel * (left - walled) + plateau * walled;
    }

  private:
    struct Rim {
        double radius_px, wall_px;
    };
    /// 0 up to an edge, 1 beyond.
    static double past(double px) { return std::clamp(0.5 + px * fine, 0.0, 1.0); }
    [[nodiscard]] Rim of(std::size_t k) const {
        const RimBin& b = bins_[k % bins_.size()];
        if (b.seen) return {b.radius_px, b.wall_px};
        return {tracing_.fit.model.radius_px, tracing_.fit.model.wall_px};
    }
    [[nodiscard]] Rim rim_towards(double dx, double dy) const {
        double turn = std::atan2(-dy, dx) / (2 * std::numbers::pi);
        if (turn < 0) turn += 1;
        const double place = turn * static_cast<double>(bins_.size()); // bin k stands at k
        const auto k = static_cast<std::size_t>(place);
        const double f = place - static_cast<double>(k);
        const Rim a = of(k), b = of(k + 1);
        return {a.radius_px + f * (b.radius_px - a.radius_px), a.wall_px + f * (b.wall_px - a.wall_px)};
    }

    const std::vector<RimBin>& bins_;
    const RimTracing& tracing_;
};

/// The drawing blurred and sampled at pixels; `centre` takes the hole's centre in the small picture.
Image<float> draw(const Drawing& drawing, double half_px, double sigma_px, Point centre_px, Point& centre) {
    const int half = static_cast<int>(std::ceil(half_px)), size = 2 * half + 1;
    // Whole pixels are left out, so that the drawing's grid lies on the hole as the picture's own does.
    centre = {half + centre_px.x - std::round(centre_px.x), half + centre_px.y - std::round(centre_px.y)};
    cv::Mat grid(size * fine, size * fine, CV_32F);
    for (int v = 0; v < grid.rows; ++v)
        for (int u = 0; u < grid.cols; ++u)
            grid.at<float>(v, u) = static_cast<float>(
                drawing.at((u + 0.5) / fine - 0.5 - centre.x, (v + 0.5) / fine - 0.5 - centre.y));
    cv::GaussianBlur(grid, grid, {}, sigma_px * fine, sigma_px * fine, cv::BORDER_REPLICATE);
    Image<float> picture(size, size);
    for (int y = 0; y < size; ++y)
        for (int x = 0; x < size; ++x)
            picture(x, y) = grid.at<float>(y * fine + fine / 2, x * fine + fine / 2);
    return picture;
}

/// Median of each seen bin and its seen neighbours, two either way: a bin that straddles the end of a wall
/// may leap by pixels, alone.
std::vector<RimBin> without_leaps(const std::vector<RimBin>& bins) {
    const int n = static_cast<int>(bins.size());
    std::vector<RimBin> out = bins;
    for (int k = 0; k < n; ++k) {
        std::vector<double> near;
        for (int d = -2; d <= 2; ++d)
            if (const RimBin& b = bins[static_cast<std::size_t>(((k + d) % n + n) % n)]; b.seen)
                near.push_back(b.radius_px);
        if (!bins[static_cast<std::size_t>(k)].seen || near.size() < 3) continue;
        const auto middle = near.begin() + static_cast<std::ptrdiff_t>(near.size() / 2);
        std::nth_element(near.begin(), middle, near.end());
        out[static_cast<std::size_t>(k)].radius_px = *middle;
    }
    return out;
}

} // namespace

std::vector<RimBin> undo_rounding(const SmoothRim& smooth, const std::vector<RimBin>& bins,
                                  const RimTracing& tracing) {
    const double sigma = tracing.shared.sigma_px;
    const Drawing drawing(smooth.bins, tracing);
    RimFit fit = tracing.fit; // its centre becomes the drawn picture's
    const Image<float> picture =
        draw(drawing, drawing.farthest() + 6 * sigma, sigma, fit.model.centre_px, fit.model.centre_px);
    const RimTracing drawn{tracing.noise, fit, tracing.shared, tracing.search_px, tracing.noise_is_known};
    const auto traced = trace_rim(picture.view(), drawn);
    const auto again = smooth_over(traced, bins, smooth.halves);
    std::vector<RimBin> out = smooth.bins;
    for (std::size_t k = 0; k < out.size(); ++k) {
        const bool torn =
            fit.model.plated && out[k].wall_px < 0.5 * fit.model.wall_px; // read as bare: another model
        if (out[k].seen && again[k].seen && !torn)
            out[k].radius_px -= std::clamp(again[k].radius_px - out[k].radius_px, -2 * sigma, 2 * sigma);
    }
    return without_leaps(out);
}

} // namespace ringwall
