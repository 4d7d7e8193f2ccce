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
constexpr double gone_share = 0.4;   // of the hole's own wall: less may be none
constexpr double worse_misfit = 0.5;
constexpr double dim_share = 0.15; // of the step from air to board: a core less bright than that is covered
constexpr double behind_sigmas = 3.0, before_sigmas = 4.0;
constexpr double arc_px = 1.5, widest_arc_px = 12.0;
constexpr double enough_gain = 60.0; // chi-square that an edge should bring its bin: its place to half a px

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

/// What a bin fits: boundary of the air, wall, level behind it, and where a step follows its distance behind
/// the wall and the level beyond it. Next to a bare wall a narrow gap and the boundary look much alike: both
/// must be free for either's uncertainty to be true.
enum Unknown { edge, wall, plateau, gap, beyond };
using Unknowns = Eigen::Matrix<double, 5, 1>;
using UnknownsSquared = Eigen::Matrix<double, 5, 5>;
constexpr double gap_u_px = 0.7;  // change of a gap within a sector of an eccentric ring
constexpr double beyond_u = 0.03; // a plane's edge may cross the sector

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
            .gap_px = fit.model.gap_at(s, std::cos(a), -std::sin(a)),
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

    /// Levenberg-Marquardt over the pixels round the start. The plateau may move
    /// by what a sector's own level can be wrong, the wall by its own size and no further than nothing.
    [[nodiscard]] JudgedBin solve(double start_radius, double start_wall) {
        choose(start_radius, start_wall);
        expected_wall_ = start_wall;
        Unknowns x = start_at(start_radius, start_wall);
        Sums now = accumulate(x);
        double damping = 1e-3;
        for (int i = 0; i < rounds && damping < 1e4; ++i) {
            const Unknowns next = moved(x, now, damping);
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
        return {bin_of(x, now, start_radius), (now.chi2 - dof) / std::sqrt(2 * dof), x[plateau],
                air_chi2() - now.chi2};
    }

  private:
    struct Sums {
        UnknownsSquared curvature = UnknownsSquared::Zero();
        Unknowns gradient = Unknowns::Zero();
        double chi2 = 0;
    };

    [[nodiscard]] Unknowns start_at(double radius_px, double wall_px) const {
        Unknowns x;
        x << radius_px, wall_px, levels_.outside, levels_.gap_px, levels_.beyond;
        return x;
    }

    void choose(double radius_px, double wall_px) {
        for (const BinPixel& p : all_)
            if (p.rho > radius_px - before_sigmas * sigma_ &&
                p.rho < radius_px + wall_px + behind_sigmas * sigma_)
                pixels_.push_back(p);
        const Unknowns x = start_at(radius_px, wall_px);
        Unknowns slope;
        for (const BinPixel& p : pixels_) // fixed weights: chi-square then is one function
            inverse_sigma_.push_back(1 /
                                     std::max(noise_.sigma(std::max(predict(p.rho, x, slope), 0.0)), 1e-4));
    }

    [[nodiscard]] Unknowns moved(const Unknowns& x, const Sums& sums, double damping) const {
        UnknownsSquared damped = sums.curvature;
        damped.diagonal() *= 1 + damping;
        Unknowns step = damped.ldlt().solve(sums.gradient);
        for (const int c : {edge, wall, gap})
            step[c] = std::clamp(step[c], -sigma_, sigma_);
        Unknowns next = x + step;
        next[edge] = std::max(next[edge], 0.5 * sigma_);
        next[wall] = std::clamp(next[wall], 0.0, 12.0);
        next[gap] = std::max(next[gap], 0.0);
        return next;
    }

    [[nodiscard]] RimBin bin_of(const Unknowns& x, const Sums& sums, double start_radius) const {
        const auto used = static_cast<double>(pixels_.size());
        const double scatter = std::max(1.0, used > 3 ? sums.chi2 / (used - 3) : 1) * noise_.correlation;
        const UnknownsSquared covariance = sums.curvature.inverse() * scatter;
        RimBin bin;
        bin.radius_px = x[edge];
        bin.wall_px = levels_.plated ? x[wall] : 0;
        bin.u_px = std::sqrt(std::max(covariance(edge, edge), 0.0));
        bin.u_wall_px = levels_.plated ? std::sqrt(std::max(covariance(wall, wall), 0.0)) : 0;
        bin.seen = std::isfinite(bin.u_px) && bin.u_px < 4 * sigma_ && used > 4 &&
                   std::abs(x[edge] - start_radius) < 4 * sigma_;
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

    [[nodiscard]] Sums accumulate(const Unknowns& x) const {
        Sums sums;
        for (std::size_t i = 0; i < pixels_.size(); ++i) {
            Unknowns slope;
            const double off = pixels_[i].t - predict(pixels_[i].rho, x, slope),
                         z = std::abs(off) * inverse_sigma_[i];
            const double weight = (z > 3 ? 3 / z : 1.0) * inverse_sigma_[i] * inverse_sigma_[i];
            sums.curvature += weight * slope * slope.transpose();
            sums.gradient += weight * off * slope;
            sums.chi2 += z > 3 ? 3 * (2 * z - 3) : z * z;
        }
        believe(sums, plateau, levels_.outside - x[plateau], levels_.outside_u);
        believe(sums, wall, expected_wall_ - x[wall], levels_.plated ? std::max(0.5, expected_wall_) : 1e-6);
        believe(sums, gap, levels_.gap_px - x[gap], gap_u_px);
        believe(sums, beyond, levels_.beyond - x[beyond], beyond_u);
        return sums;
    }
    static void believe(Sums& sums, int which, double off, double u) {
        sums.curvature(which, which) += 1 / (u * u);
        sums.gradient[which] += off / (u * u);
        sums.chi2 += off * off / (u * u);
    }

    double predict(double rho, const Unknowns& x, Unknowns& slope) const {
        const Edge inner = edge_at(rho, x[edge], sigma_), outer = edge_at(rho, x[edge] + x[wall], sigma_);
        const double behind = x[plateau], ring = levels_.plated ? levels_.barrel : behind;
        double value =
            levels_.open * inner.value + ring * (outer.value - inner.value) + behind * (1 - outer.value);
        const double out = (ring - behind) * outer.slope;
        slope << (levels_.open - ring) * inner.slope + out, out, 1 - (levels_.plated ? outer : inner).value,
            0, 0;
        if (levels_.has_step) add_step(rho, x, slope, value);
        return value;
    }
    void add_step(double rho, const Unknowns& x, Unknowns& slope, double& value) const {
        const Edge step = edge_at(rho, x[edge] + x[wall] + x[gap], sigma_);
        const double height = x[beyond] - x[plateau];
        value += height * (1 - step.value);
        slope[edge] -= height * step.slope;
        if (levels_.plated) slope[wall] -= height * step.slope;
        slope[plateau] -= 1 - step.value;
        slope[gap] = -height * step.slope;
        slope[beyond] = 1 - step.value;
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

/// Arc of a bin. A faint edge shows in a wide one only: in a narrow one the fall of noise that fits best
/// stands further out, for lack of any inside of the air.
double arc_for(const RimTracing& tracing) {
    const RimModel& model = tracing.fit.model;
    if (model.plated || !tracing.noise_is_known) return arc_px;
    const double z = (model.open - model.outside) / std::max(tracing.noise.sigma(model.open), 1e-4);
    const double gain_a_px = behind_sigmas * tracing.shared.sigma_px * z * z / tracing.noise.correlation;
    return std::clamp(enough_gain / std::max(gain_a_px, 1e-6), arc_px, widest_arc_px);
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

/// A bin whose wall came out next to nothing, read again as bare: plating of a tenth of a pixel that is not
/// there moves a faint edge by half a pixel. The bare reading stands unless it fits worse.
JudgedBin without_wall(const std::vector<BinPixel>& pixels, const NoiseModel& noise, BinLevels levels,
                       const JudgedBin& plated, double full_wall, double sigma) {
    if (!levels.plated || !plated.bin.seen || plated.bin.wall_px > gone_share * full_wall) return plated;
    levels.plated = false;
    JudgedBin bare = BinFit(pixels, noise, levels, sigma).solve(plated.bin.radius_px, 0);
    if (!bare.bin.seen || bare.misfit > plated.misfit + worse_misfit) return plated;
    bare.bin.u_wall_px = plated.bin.u_wall_px;
    return bare;
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

/// Whether something dims the air before the edge: a part's body, behind which the levels are others.
bool dimmed(const std::vector<BinPixel>& pixels, const BinLevels& levels, const NoiseModel& noise,
            double end) {
    double sum = 0;
    int n = 0;
    for (const BinPixel& p : pixels)
        if (p.rho < end) sum += p.t, ++n;
    if (n < 4) return false;
    const double slack =
        dim_share * std::abs(levels.open - levels.outside) + 3 * noise.sigma(levels.open) / std::sqrt(n);
    return sum / n < levels.open - slack;
}

/// The circle's own radius first; where the pixels disagree, wherever an edge fits them best; where nothing
/// fits, unseen.
RimBin trace_bin(const std::vector<BinPixel>& pixels, const NoiseModel& noise, const BinLevels& levels,
                 const RimModel& model, double sigma, double search_px) {
    const double farthest = model.radius_px + search_px;
    JudgedBin near = follow_edge(pixels, noise, levels, model.radius_px, model.wall_px, sigma, farthest);
    near = without_wall(pixels, noise, levels, near, model.wall_px, sigma);
    const auto open_way = [&](const JudgedBin& bin) {
        return open_to(pixels, levels, noise, model.radius_px - 4 * sigma, bin.bin.radius_px - 1.5 * sigma);
    };
    if (dimmed(pixels, levels, noise, model.radius_px - 2.5 * sigma)) {
        near.bin.seen = false;
        return near.bin;
    }
    if (near.misfit < good_misfit && near.bin.seen && open_way(near)) return near.bin;
    const double start = best_start(pixels, levels, sigma, std::max(noise.sigma(levels.open), 1e-3),
                                    model.radius_px - 2 * sigma, farthest);
    JudgedBin far = follow_edge(pixels, noise, around(levels), start, model.wall_px, sigma, farthest);
    far = without_wall(pixels, noise, around(levels), far, model.wall_px, sigma);
    const bool take_far = far.bin.seen && (far.misfit < near.misfit || !near.bin.seen);
    JudgedBin& best = take_far ? far : near;
    best.bin.seen = best.bin.seen && best.misfit < lost_misfit;
    // An edge inside of the circle with another level behind it than the board's is a part's, not the hole's.
    if (!open_way(best)) best.bin.seen = false;
    const bool inward = best.bin.radius_px < model.radius_px - 0.7 * sigma;
    if (inward && std::abs(best.plateau - levels.outside) > 0.3 * std::abs(levels.open - levels.outside))
        best.bin.seen = false;
    if (inward && best.bin.wall_px > 2 * model.wall_px + 0.5)
        best.bin.seen = false; // dark as plating is, but a part
    return best.bin;
}

/// What hides a stretch of the rim blurs into the bins beside it.
void widen_hidden(std::vector<RimBin>& bins, double bin_px, double sigma) {
    const int n = static_cast<int>(bins.size()), reach = static_cast<int>(std::lround(sigma / bin_px));
    const auto hidden = [&, before = bins](int k) {
        return !before[static_cast<std::size_t>((k % n + n) % n)].seen;
    };
    for (int k = 0; k < n; ++k) {
        if (!hidden(k) || !hidden(k + 1)) continue; // one bin alone is noise
        for (int d = -reach; d <= reach + 1; ++d)
            bins[static_cast<std::size_t>(((k + d) % n + n) % n)].seen = false;
    }
}

} // namespace

std::vector<RimBin> trace_rim(ImageView<const float> t, const RimTracing& tracing) {
    const RimModel& model = tracing.fit.model;
    const NoiseModel& noise = tracing.noise;
    const double sigma = tracing.shared.sigma_px, search_px = tracing.search_px;
    const double round_px = 2 * std::numbers::pi * model.radius_px;
    const int count = std::clamp(static_cast<int>(round_px / arc_for(tracing)), 24, 240);
    const double inner = std::max(0.0, model.radius_px - std::max(6 * sigma, 0.25 * model.radius_px));
    const double outer = model.drill_radius_px() + search_px + 4 * sigma;
    const auto pixels = pixels_by_bin(t, model, inner, outer, count);
    std::vector<RimBin> bins(static_cast<std::size_t>(count));
    for (int k = 0; k < count; ++k) {
        RimBin& bin = bins[static_cast<std::size_t>(k)];
        const double angle = 360.0 * k / count;
        const BinLevels levels = levels_of(tracing.fit, tracing.shared, angle);
        const auto& mine = pixels[static_cast<std::size_t>(k)];
        bin = trace_bin(mine, noise, levels, model, sigma, search_px);
        bin.angle_deg = angle;
    }
    widen_hidden(bins, round_px / count, sigma);
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

void put(const WindowMean& mean, RimBin& bin) {
    bin.radius_px = mean.radius, bin.u_px = mean.u, bin.wall_px = mean.wall, bin.u_wall_px = mean.u_wall;
}

} // namespace

SmoothRim smooth_rim(const std::vector<RimBin>& bins) {
    constexpr std::array<int, 6> steps{0, 1, 2, 4, 7, 12};
    constexpr double agree = 2.5;
    SmoothRim smooth{bins, std::vector<int>(bins.size(), 0)};
    const int most = static_cast<int>(bins.size()) / 12;
    for (int k = 0; k < static_cast<int>(bins.size()); ++k) {
        RimBin& out = smooth.bins[static_cast<std::size_t>(k)];
        if (!out.seen) continue;
        std::vector<WindowMean> narrower;
        for (int half : steps) {
            if (half > 0 && half > most) break;
            const WindowMean m = mean_over(bins, k, half);
            const bool agrees = std::all_of(narrower.begin(), narrower.end(), [&](const WindowMean& n) {
                return std::abs(m.radius - n.radius) <= agree * n.u &&
                       std::abs(m.wall - n.wall) <= agree * n.u_wall + 1e-9;
            });
            if (!agrees) break;
            narrower.push_back(m);
            smooth.halves[static_cast<std::size_t>(k)] = half;
        }
        put(narrower.back(), out);
    }
    return smooth;
}

std::vector<RimBin> smooth_over(std::vector<RimBin> bins, const std::vector<RimBin>& like,
                                const std::vector<int>& halves) {
    for (std::size_t k = 0; k < bins.size(); ++k)
        bins[k].u_px = like[k].u_px, bins[k].u_wall_px = like[k].u_wall_px;
    std::vector<RimBin> out = bins;
    for (std::size_t k = 0; k < bins.size(); ++k)
        if (bins[k].seen) put(mean_over(bins, static_cast<int>(k), halves[k]), out[k]);
    return out;
}

} // namespace ringwall
