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

namespace ringwall {

namespace {

constexpr int rounds = 12;
constexpr double good_misfit = 3.0;  // chi-square within its scatter: the bin is what the model says
constexpr double lost_misfit = 12.0; // beyond: something stands in front, no edge of the air
constexpr double real_edge = 8.0;    // chi-square without which there is no edge in the window
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
    double open, barrel, outside, outside_u, beyond, gap_px;
    bool has_step, plated;
};

BinLevels levels_of(const RimFit& fit, const RimShared& shared, double angle_deg) {
    const double a = angle_deg * std::numbers::pi / 180;
    const RimSector& s =
        fit.model.sectors[static_cast<std::size_t>(fit.model.sector_of(std::cos(a), -std::sin(a)))];
    const double outside = fit.model.outside + s.lift;
    return {.open = fit.model.open,
            .barrel = shared.barrel,
            .outside = outside,
            .outside_u = 0.01 + 0.1 * std::abs(fit.model.open - outside),
            .beyond = s.beyond,
            .gap_px = s.gap_px,
            .has_step = s.has_step,
            .plated = fit.model.plated};
}

/// A fitted bin and how badly its pixels fit, in standard deviations of chi-square's own scatter.
struct JudgedBin {
    RimBin bin;
    double misfit = 0;
    double plateau = 0;   ///< T behind the edge
    double edge_gain = 0; ///< chi-square that the edge brings against nothing but air in the same window
};

class BinFit {
  public:
    BinFit(const std::vector<BinPixel>& pixels, const NoiseModel& noise, const BinLevels& levels,
           double sigma)
        : noise_(noise), levels_(levels), sigma_(sigma), all_(pixels) {}

    /// Levenberg-Marquardt on (boundary, wall, plateau) over the pixels round the start. The plateau may move
    /// by what a sector's own level can be wrong, the wall by its own size and no further than nothing.
    [[nodiscard]] JudgedBin solve(double start_radius, double start_wall) {
        choose(start_radius, start_wall);
        expected_wall_ = start_wall;
        Eigen::Vector3d x(start_radius, start_wall, levels_.outside);
        Sums now = accumulate(x);
        double damping = 1e-3;
        for (int i = 0; i < rounds && damping < 1e4; ++i) {
            const Eigen::Vector3d next = moved(x, now, damping);
            const Sums then = accumulate(next);
            if (then.chi2 > now.chi2) {
                damping *= 10;
                continue;
            }
            const double step = (next - x).head<2>().norm();
            x = next, now = then, damping *= 0.2;
            if (step < 1e-3) break;
        }
        const double dof = std::max(1.0, static_cast<double>(pixels_.size()) - 3);
        return {bin_of(x, now, start_radius), (now.chi2 - dof) / std::sqrt(2 * dof), x[2],
                air_chi2() - now.chi2};
    }

  private:
    struct Sums {
        Eigen::Matrix3d curvature = Eigen::Matrix3d::Zero();
        Eigen::Vector3d gradient = Eigen::Vector3d::Zero();
        double chi2 = 0;
    };

    void choose(double radius, double wall) {
        for (const BinPixel& p : all_)
            if (p.rho > radius - before_sigmas * sigma_ && p.rho < radius + wall + behind_sigmas * sigma_)
                pixels_.push_back(p);
        const Eigen::Vector3d x(radius, wall, levels_.outside);
        Eigen::Vector3d slope;
        for (const BinPixel& p : pixels_) // fixed weights: chi-square then is one function
            inverse_sigma_.push_back(1 /
                                     std::max(noise_.sigma(std::max(predict(p.rho, x, slope), 0.0)), 1e-4));
    }

    [[nodiscard]] Eigen::Vector3d moved(const Eigen::Vector3d& x, const Sums& sums, double damping) const {
        Eigen::Matrix3d damped = sums.curvature;
        damped.diagonal() *= 1 + damping;
        Eigen::Vector3d step = damped.ldlt().solve(sums.gradient);
        step[0] = std::clamp(step[0], -sigma_, sigma_);
        step[1] = std::clamp(step[1], -sigma_, sigma_);
        Eigen::Vector3d next = x + step;
        next[0] = std::max(next[0], 0.5 * sigma_);
        next[1] = std::clamp(next[1], 0.0, 12.0);
        return next;
    }

    [[nodiscard]] RimBin bin_of(const Eigen::Vector3d& x, const Sums& sums, double start_radius) const {
        const auto used = static_cast<double>(pixels_.size());
        const double scatter = std::max(1.0, used > 3 ? sums.chi2 / (used - 3) : 1) * noise_.correlation;
        const Eigen::Matrix3d covariance = sums.curvature.inverse() * scatter;
        RimBin bin;
        bin.radius_px = x[0];
        bin.wall_px = levels_.plated ? x[1] : 0;
        bin.u_px = std::sqrt(std::max(covariance(0, 0), 0.0));
        bin.u_wall_px = levels_.plated ? std::sqrt(std::max(covariance(1, 1), 0.0)) : 0;
        bin.seen = std::isfinite(bin.u_px) && bin.u_px < 4 * sigma_ && used > 4 &&
                   std::abs(x[0] - start_radius) < 4 * sigma_;
        return bin;
    }

    [[nodiscard]] double air_chi2() const {
        double chi2 = 0;
        for (std::size_t i = 0; i < pixels_.size(); ++i) {
            const double z = std::abs(pixels_[i].t - levels_.open) * inverse_sigma_[i];
            chi2 += z > 3 ? 3 * (2 * z - 3) : z * z;
        }
        return chi2;
    }

    [[nodiscard]] Sums accumulate(const Eigen::Vector3d& x) const {
        Sums sums;
        for (std::size_t i = 0; i < pixels_.size(); ++i) {
            Eigen::Vector3d slope;
            const double off = pixels_[i].t - predict(pixels_[i].rho, x, slope),
                         z = std::abs(off) * inverse_sigma_[i];
            const double weight = (z > 3 ? 3 / z : 1.0) * inverse_sigma_[i] * inverse_sigma_[i];
            sums.curvature += weight * slope * slope.transpose();
            sums.gradient += weight * off * slope;
            sums.chi2 += z > 3 ? 3 * (2 * z - 3) : z * z;
        }
        believe(sums, 2, levels_.outside - x[2], levels_.outside_u);
        believe(sums, 1, expected_wall_ - x[1], levels_.plated ? std::max(0.5, expected_wall_) : 1e-6);
        return sums;
    }
    static void believe(Sums& sums, int which, double off, double u) {
        sums.curvature(which, which) += 1 / (u * u);
        sums.gradient[which] += off / (u * u);
        sums.chi2 += off * off / (u * u);
    }

    double predict(double rho, const Eigen::Vector3d& x, Eigen::Vector3d& slope) const {
        const Edge inner = edge_at(rho, x[0], sigma_), outer = edge_at(rho, x[0] + x[1], sigma_);
        const double wall = levels_.plated ? levels_.barrel : x[2];
        double value =
            levels_.open * inner.value + wall * (outer.value - inner.value) + x[2] * (1 - outer.value);
        const double out = (wall - x[2]) * outer.slope;
        slope = {(levels_.open - wall) * inner.slope + out, out, 1 - outer.value};
        if (!levels_.plated) slope[2] = 1 - inner.value;
        if (levels_.has_step) add_step(rho, x, slope, value);
        return value;
    }
    void add_step(double rho, const Eigen::Vector3d& x, Eigen::Vector3d& slope, double& value) const {
        const Edge step = edge_at(rho, x[0] + x[1] + levels_.gap_px, sigma_);
        const double height = levels_.beyond - x[2];
        value += height * (1 - step.value);
        slope[0] -= height * step.slope;
        if (levels_.plated) slope[1] -= height * step.slope;
        slope[2] -= 1 - step.value;
    }

    const NoiseModel& noise_;
    const BinLevels& levels_;
    double sigma_;
    const std::vector<BinPixel>& all_;
    std::vector<BinPixel> pixels_;
    std::vector<double> inverse_sigma_;
    double expected_wall_ = 0;
};

/// Radius at which a plain edge fits the whole bin best, in steps of a px: where to start when the circle
/// does not hold.
double best_start(const std::vector<BinPixel>& pixels, const BinLevels& levels, double sigma, double noise,
                  double from, double to) {
    double best = from, least = 1e300;
    for (double radius = from; radius <= to; radius += 1.0) {
        double chi2 = 0;
        for (const BinPixel& p : pixels) {
            const double inside = edge_at(p.rho, radius, sigma).value;
            const double z = (p.t - levels.open * inside - levels.outside * (1 - inside)) / noise;
            chi2 += std::min(z * z, 9.0);
        }
        if (chi2 < least) least = chi2, best = radius;
    }
    return best;
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
            const int k = std::min(count - 1, static_cast<int>(std::lround(turn * count)) %
                                                  count); // bin centres at k/count
            bins[static_cast<std::size_t>(k)].push_back({rho, t(x, y)});
        }
    for (auto& bin : bins)
        std::sort(bin.begin(), bin.end(), [](const BinPixel& a, const BinPixel& b) {
            return a.rho != b.rho ? a.rho < b.rho : a.t < b.t;
        });
    return bins;
}

/// Away from the circle the level behind the wall is only roughly known: laminate there, copper here.
BinLevels around(BinLevels levels) {
    levels.has_step = false;
    levels.outside_u = 0.02 + 0.5 * std::abs(levels.open - levels.outside);
    return levels;
}

/// Solves from `start` and follows the edge while it runs away from where it was looked for: inside a deep
/// bite the first window shows nothing but air, and the answer leans on its end.
JudgedBin follow_edge(const std::vector<BinPixel>& pixels, const NoiseModel& noise, const BinLevels& levels,
                      double start, double wall, double sigma, double farthest) {
    JudgedBin bin = BinFit(pixels, noise, levels, sigma).solve(start, wall);
    while (start < farthest && (bin.edge_gain < real_edge || bin.bin.radius_px > start + 1.5 * sigma)) {
        start += 2 * sigma;
        bin = BinFit(pixels, noise, around(levels), sigma).solve(start, wall);
    }
    return bin;
}

/// Whether the way out to `radius` is air: a bite is open from the bore, a bright spot behind a lead is not.
/// No mean over three neighbouring pixels may fall half the way to the board's level.
bool open_to(const std::vector<BinPixel>& pixels, const BinLevels& levels, const NoiseModel& noise,
             double from, double radius) {
    const double slack = 2 * noise.sigma(levels.open) / std::sqrt(3.0);
    const double floor = levels.open - 0.5 * std::abs(levels.open - levels.outside) - slack;
    for (std::size_t i = 2; i < pixels.size(); ++i) {
        if (pixels[i - 2].rho < from || pixels[i].rho > radius) continue;
        if ((pixels[i - 2].t + pixels[i - 1].t + pixels[i].t) / 3 < floor) return false;
    }
    return true;
}

/// The circle's own radius first; where the pixels disagree, wherever an edge fits them best; where nothing
/// fits, unseen.
RimBin trace_bin(const std::vector<BinPixel>& pixels, const NoiseModel& noise, const BinLevels& levels,
                 const RimModel& model, double sigma, double search_px) {
    const double farthest = model.radius_px + search_px;
    JudgedBin near = follow_edge(pixels, noise, levels, model.radius_px, model.wall_px, sigma, farthest);
    const auto open_way = [&](const JudgedBin& bin) {
        return open_to(pixels, levels, noise, model.radius_px - 4 * sigma, bin.bin.radius_px - 1.5 * sigma);
    };
    if (near.misfit < good_misfit && near.bin.seen && open_way(near)) return near.bin;
    const double start = best_start(pixels, levels, sigma, std::max(noise.sigma(levels.open), 1e-3),
                                    model.radius_px - 2 * sigma, farthest);
    JudgedBin far = follow_edge(pixels, noise, around(levels), start, model.wall_px, sigma, farthest);
    const bool take_far = far.bin.seen && (far.misfit < near.misfit || !near.bin.seen);
    JudgedBin& best = take_far ? far : near;
    best.bin.seen = best.bin.seen && best.misfit < lost_misfit;
    // An edge inside of the circle with another level behind it than the board's is a part's, not the hole's.
    if (!open_way(best)) best.bin.seen = false;
    const bool inward = best.bin.radius_px < model.radius_px - 0.7 * sigma;
    if (inward && std::abs(best.plateau - levels.outside) > 0.3 * std::abs(levels.open - levels.outside))
        best.bin.seen = false;
    return best.bin;
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
        bin = trace_bin(mine, noise, levels, model, sigma, search_px);
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
