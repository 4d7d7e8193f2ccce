// SPDX-License-Identifier: Apache-2.0
#include "holes/contour.hpp"

#include "core/special.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <Eigen/LU>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

namespace ringwall {

namespace {

constexpr int rounds = 12;
constexpr double behind_sigmas = 3.0, before_sigmas = 4.0;

struct BinPixel {
    double rho, t;
};

/// Edge of a blurred disk, to first order in sigma/R: value and derivative by its radius.
struct Edge {
    double value, slope;
};
Edge edge_at(double rho, double radius, double sigma) {
    const double z = (radius - sigma * sigma / (2 * std::max(radius, sigma)) - rho) / sigma;
    return {normal_cdf(z), normal_density(z) / sigma};
}

/// Levels of one bin, from the rim fit.
struct BinLevels {
    double open, barrel, outside, beyond, gap_px;
    bool has_step, plated;
};

BinLevels levels_of(const RimFit& fit, const RimShared& shared, double angle_deg) {
    const double a = angle_deg * std::numbers::pi / 180;
    const RimSector& s =
        fit.model.sectors[static_cast<std::size_t>(fit.model.sector_of(std::cos(a), -std::sin(a)))];
    return {fit.model.open, shared.barrel,   fit.model.outside + s.lift, s.beyond, s.gap_px,
            s.has_step,     fit.model.plated};
}

class BinFit {
  public:
    BinFit(const std::vector<BinPixel>& pixels, const NoiseModel& noise, const BinLevels& levels,
           double sigma)
        : pixels_(pixels), noise_(noise), levels_(levels), sigma_(sigma) {}

    /// Gauss-Newton on (boundary, wall, plateau). The plateau may move by what a sector's own level can be
    /// wrong.
    RimBin solve(double start_radius, double start_wall) {
        Eigen::Vector3d x(start_radius, start_wall, levels_.outside);
        Eigen::Matrix3d curvature;
        for (int i = 0; i < rounds; ++i) {
            Eigen::Vector3d gradient;
            accumulate(x, curvature, gradient);
            Eigen::Vector3d step = curvature.ldlt().solve(gradient);
            step[0] = std::clamp(step[0], -sigma_, sigma_);
            step[1] = std::clamp(step[1], -sigma_, sigma_);
            x += step;
            x[1] = std::clamp(x[1], -1.0, 12.0);
            if (step.head<2>().norm() < 1e-3) break;
        }
        const Eigen::Matrix3d covariance = curvature.inverse() * std::max(1.0, scatter_) * noise_.correlation;
        RimBin bin;
        bin.radius_px = x[0];
        bin.wall_px = levels_.plated ? x[1] : 0;
        bin.u_px = std::sqrt(std::max(covariance(0, 0), 0.0));
        bin.u_wall_px = levels_.plated ? std::sqrt(std::max(covariance(1, 1), 0.0)) : 0;
        bin.seen = std::isfinite(bin.u_px) && bin.u_px < 4 * sigma_ && used_ > 4 &&
                   std::abs(x[0] - start_radius) < 4 * sigma_;
        return bin;
    }

  private:
    void accumulate(const Eigen::Vector3d& x, Eigen::Matrix3d& curvature, Eigen::Vector3d& gradient) {
        curvature.setZero();
        gradient.setZero();
        double chi2 = 0;
        used_ = 0;
        for (const BinPixel& p : pixels_) {
            if (p.rho < x[0] - before_sigmas * sigma_ || p.rho > x[0] + x[1] + behind_sigmas * sigma_)
                continue;
            Eigen::Vector3d slope;
            const double value = predict(p.rho, x, slope), s = std::max(noise_.sigma(value), 1e-4);
            const double z = (p.t - value) / s, weight = (std::abs(z) > 3 ? 3 / std::abs(z) : 1.0) / (s * s);
            curvature += weight * slope * slope.transpose();
            gradient += weight * (p.t - value) * slope;
            chi2 += std::min(z * z, 9.0);
            ++used_;
        }
        scatter_ = used_ > 3 ? chi2 / (used_ - 3) : 1;
        const double plateau_u = 0.01 + 0.1 * std::abs(levels_.open - levels_.outside);
        curvature(2, 2) += 1 / (plateau_u * plateau_u);
        gradient[2] += (levels_.outside - x[2]) / (plateau_u * plateau_u);
        if (!levels_.plated) curvature(1, 1) += 1e12;
    }
    double predict(double rho, const Eigen::Vector3d& x, Eigen::Vector3d& slope) const {
        const Edge inner = edge_at(rho, x[0], sigma_), outer = edge_at(rho, x[0] + x[1], sigma_);
        const double wall = levels_.plated ? levels_.barrel : x[2];
        double value =
            levels_.open * inner.value + wall * (outer.value - inner.value) + x[2] * (1 - outer.value);
        const double out = (wall - x[2]) * outer.slope;
        slope = {(levels_.open - wall) * inner.slope + out, out, 1 - outer.value};
        if (!levels_.plated) slope[2] = 1 - inner.value;
        if (levels_.has_step) {
            const Edge step = edge_at(rho, x[0] + x[1] + levels_.gap_px, sigma_);
            const double height = levels_.beyond - x[2];
            value += height * (1 - step.value);
            slope[0] -= height * step.slope;
            if (levels_.plated) slope[1] -= height * step.slope;
            slope[2] -= 1 - step.value;
        }
        return value;
    }

    const std::vector<BinPixel>& pixels_;
    const NoiseModel& noise_;
    const BinLevels& levels_;
    double sigma_;
    double scatter_ = 1;
    int used_ = 0;
};

/// Where the bin's air ends: first radius from inside where the mean over about a sigma falls below half
/// level. None when the air is not seen on the way (something lies in front).
std::optional<double> first_fall(const std::vector<BinPixel>& sorted, const BinLevels& levels, double sigma) {
    const double level = 0.5 * (levels.open + levels.outside);
    const double window = std::max(1.0, sigma);
    double sum = 0;
    std::size_t first = 0;
    for (std::size_t i = 0; i < sorted.size(); ++i) {
        sum += sorted[i].t;
        while (sorted[i].rho - sorted[first].rho > window)
            sum -= sorted[first++].t;
        const auto count = static_cast<double>(i - first + 1);
        if (count < 3) continue;
        if (sum / count < level)
            return first == 0 ? std::nullopt : std::optional(0.5 * (sorted[first].rho + sorted[i].rho));
    }
    return std::nullopt;
}

std::vector<std::vector<BinPixel>> pixels_by_bin(ImageView<const float> t, const RimModel& model,
                                                 double inner, double outer, int count) {
    std::vector<std::vector<BinPixel>> bins(static_cast<std::size_t>(count));
    const int x0 = std::max(0, static_cast<int>(model.centre_px.x - outer)),
              y0 = std::max(0, static_cast<int>(model.centre_px.y - outer));
    const int x1 = std::min(t.width() - 1, static_cast<int>(model.centre_px.x + outer) + 1);
    const int y1 = std::min(t.height() - 1, static_cast<int>(model.centre_px.y + outer) + 1);
    for (int y = y0; y <= y1; ++y)
        for (int x = x0; x <= x1; ++x) {
            const double dx = x - model.centre_px.x, dy = y - model.centre_px.y, rho = std::hypot(dx, dy);
            if (rho < inner || rho > outer) continue;
            double turn = std::atan2(-dy, dx) / (2 * std::numbers::pi);
            if (turn < 0) turn += 1;
            const int k =
                std::min(count - 1, static_cast<int>(turn * count + 0.5) % count); // bin centres at k/count
            bins[static_cast<std::size_t>(k)].push_back({rho, t(x, y)});
        }
    for (auto& bin : bins)
        std::sort(bin.begin(), bin.end(), [](const BinPixel& a, const BinPixel& b) {
            return a.rho != b.rho ? a.rho < b.rho : a.t < b.t;
        });
    return bins;
}

} // namespace

std::vector<RimBin> trace_rim(ImageView<const float> t, const NoiseModel& noise, const RimFit& fit,
                              const RimShared& shared, double search_px) {
    const RimModel& model = fit.model;
    const double sigma = shared.sigma_px;
    const int count = std::clamp(static_cast<int>(2 * std::numbers::pi * model.radius_px / 1.5), 24, 240);
    const double inner = std::max(0.0, model.radius_px - std::max(6 * sigma, 0.25 * model.radius_px));
    const double outer = model.drill_radius_px() + search_px + 4 * sigma;
    const auto pixels = pixels_by_bin(t, model, inner, outer, count);
    std::vector<RimBin> bins(static_cast<std::size_t>(count));
    for (int k = 0; k < count; ++k) {
        RimBin& bin = bins[static_cast<std::size_t>(k)];
        const double angle = 360.0 * k / count;
        const BinLevels levels = levels_of(fit, shared, angle);
        const auto& mine = pixels[static_cast<std::size_t>(k)];
        const auto fall = first_fall(mine, levels, sigma);
        if (fall && *fall > model.radius_px - std::max(3.0, 3 * sigma)) {
            const bool near = std::abs(*fall - model.radius_px) < 1.5 * sigma + 1;
            bin = BinFit(mine, noise, levels, sigma).solve(near ? model.radius_px : *fall, model.wall_px);
        }
        bin.angle_deg = angle;
    }
    return bins;
}

namespace {

struct WindowMean {
    double radius = 0, u = 0, wall = 0, u_wall = 0;
    int count = 0;
};

WindowMean mean_over(const std::vector<RimBin>& bins, int centre, int half) {
    WindowMean m;
    double weight = 0, weight_wall = 0;
    const int n = static_cast<int>(bins.size());
    for (int d = -half; d <= half; ++d) {
        const RimBin& b = bins[static_cast<std::size_t>(((centre + d) % n + n) % n)];
        if (!b.seen) continue;
        const double w = 1 / (b.u_px * b.u_px + 1e-6), ww = 1 / (b.u_wall_px * b.u_wall_px + 1e-6);
        m.radius += w * b.radius_px, weight += w;
        m.wall += ww * b.wall_px, weight_wall += ww;
        ++m.count;
    }
    if (m.count == 0) return m;
    m.radius /= weight, m.wall /= weight_wall;
    m.u = 1 / std::sqrt(weight), m.u_wall = 1 / std::sqrt(weight_wall);
    return m;
}

} // namespace

std::vector<RimBin> smooth_rim(const std::vector<RimBin>& bins) {
    constexpr std::array<int, 6> halves{0, 1, 2, 4, 7, 12};
    constexpr double agree = 2.5;
    std::vector<RimBin> smooth = bins;
    const int most = static_cast<int>(bins.size()) / 12;
    for (int k = 0; k < static_cast<int>(bins.size()); ++k) {
        RimBin& out = smooth[static_cast<std::size_t>(k)];
        if (!out.seen) continue;
        std::vector<WindowMean> narrower;
        for (int half : halves) {
            if (half > 0 && half > most) break;
            const WindowMean m = mean_over(bins, k, half);
            const bool agrees = std::all_of(narrower.begin(), narrower.end(), [&](const WindowMean& n) {
                return std::abs(m.radius - n.radius) <= agree * n.u &&
                       std::abs(m.wall - n.wall) <= agree * n.u_wall + 1e-9;
            });
            if (!agrees) break;
            narrower.push_back(m);
        }
        const WindowMean& best = narrower.back();
        out.radius_px = best.radius, out.u_px = best.u, out.wall_px = best.wall, out.u_wall_px = best.u_wall;
    }
    return smooth;
}

} // namespace ringwall
