// SPDX-License-Identifier: Apache-2.0
#include "holes/rim_model.hpp"

#include "holes/rim_normal.hpp"
#include "holes/rim_prediction.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {

namespace {

constexpr int most_rounds = 40;
constexpr double settled_chi2 = 2e-3; // a fall of chi-square that moves nothing by more than 0.05 of its u
constexpr double core_sigmas = 6.0;   // enough of the air inside to fix its level

class RimSolver {
  public:
    RimSolver(ImageView<const float> t, const NoiseModel& noise, const RimModel& start,
              const RimShared& shared, const RimBelief& belief, const RimFrame* frame)
        : noise_(noise), shared_(shared), belief_(belief), frame_(frame), model_(start), fitted_(start) {
        collect(t, frame ? frame->model : start);
    }

    RimFit run() {
        RimFit fit;
        fit.sector_misfit.assign(model_.sectors.size(), 0.0);
        if (static_cast<int>(pixels_.size()) < 3 * fitted_.count() / 2) {
            fit.model = model_;
            return fit;
        }
        weigh();
        RimNormal now = iterate(fit);
        if (!frame_) weigh(), now = iterate(fit);
        finish(now, fit);
        return fit;
    }

  private:
    /// Calls visit(run, sector, first pixel) for all pixels in runs of one sector.
    template<typename Visit>
    void over_runs(const RimModel& model, const RimShared& shared, Visit&& visit) const {
        const RimPrediction prediction(model, shared);
        RimRun run;
        for (std::size_t k = 0; k + 1 < first_of_.size(); ++k)
            for (std::size_t i = first_of_[k]; i < first_of_[k + 1]; i += RimRun::most) {
                prediction.fill(pixels_, i, std::min(RimRun::most, first_of_[k + 1] - i), static_cast<int>(k),
                                run);
                visit(run, k, i);
            }
    }

    /// Fixed weights during a descent: chi-square then is one function, and every accepted step lowers it.
    void weigh() {
        over_runs(frame_ ? frame_->model : model_, frame_ ? frame_->shared : shared_,
                  [&](const RimRun& run, std::size_t, std::size_t first) {
                      for (std::size_t i = 0; i < run.count; ++i)
                          pixels_.inverse_sigma[first + i] =
                              1 / std::max(noise_.sigma(std::clamp(run.value[i], 0.0, 1.2)), 1e-4);
                  });
    }

    /// Converged: a stride below 2e-4 px, or one of full length that hardly lowers chi-square (a step that
    /// the noise hides may wander for ever), or no stride however short lowers it (a gap that stands at
    /// nothing).
    RimNormal iterate(RimFit& fit) {
        RimNormal now = assemble(model_);
        double damping = 1e-3, last_fall = 1e9;
        fit.converged = false;
        for (int round = 0; round < most_rounds && !fit.converged; ++round) {
            const RimReduced::Step step = RimReduced(now, fitted_, damping).solve();
            const bool still = std::abs(step.own[cx]) + std::abs(step.own[cy]) + std::abs(step.own[radius]) +
                                   std::abs(step.own[wall]) <
                               2e-4;
            const RimModel next = moved(model_, step);
            RimNormal then = assemble(next);
            if (then.chi2 <= now.chi2 * (1 + 1e-12)) {
                fit.converged = still || (damping < 1e-2 && now.chi2 - then.chi2 < settled_chi2);
                last_fall = now.chi2 - then.chi2;
                model_ = next;
                now = std::move(then);
                damping = std::max(damping * 0.2, 1e-9);
            } else {
                damping *= 8;
                fit.converged = still || damping > 1e6;
            }
        }
        fit.converged = fit.converged || last_fall < 50 * settled_chi2;
        return now;
    }

    void collect(ImageView<const float> t, const RimModel& from) {
        const double inner_sigmas = core_sigmas * (frame_ ? frame_->shared.sigma_px : shared_.sigma_px);
        const double inner = std::max(0.0, from.radius_px - inner_sigmas);
        double band = 0;
        for (const RimSector& s : from.sectors)
            band = std::max(band, s.band_px);
        const double outer = from.drill_radius_px() + band;
        const int y0 = std::max(0, static_cast<int>(std::floor(from.centre_px.y - outer)));
        const int y1 = std::min(t.height() - 1, static_cast<int>(std::ceil(from.centre_px.y + outer)));
        const int x0 = std::max(0, static_cast<int>(std::floor(from.centre_px.x - outer)));
        const int x1 = std::min(t.width() - 1, static_cast<int>(std::ceil(from.centre_px.x + outer)));
        std::vector<Pixel> found;
        for (int y = y0; y <= y1; ++y)
            for (int x = x0; x <= x1; ++x) {
                const double dx = x - from.centre_px.x, dy = y - from.centre_px.y,
                             rho = std::sqrt(dx * dx + dy * dy);
                if (rho < inner || rho > outer) continue;
                const auto sector = static_cast<std::size_t>(from.sector_of(dx, dy));
                const RimSector& s = from.sectors[sector];
                if (s.used && rho <= from.drill_radius_px() + s.band_px)
                    found.push_back({x, y, t(x, y), sector});
            }
        sort_in(found, from.sectors.size());
    }

    struct Pixel {
        int x, y;
        float t;
        std::size_t sector;
    };
    /// Sector by sector, each in the picture's order.
    void sort_in(const std::vector<Pixel>& found, std::size_t sectors) {
        first_of_.assign(sectors + 1, 0);
        for (const Pixel& p : found)
            ++first_of_[p.sector + 1];
        for (std::size_t k = 0; k < sectors; ++k)
            first_of_[k + 1] += first_of_[k];
        for (auto* column : {&pixels_.x, &pixels_.y, &pixels_.t, &pixels_.inverse_sigma})
            column->assign(found.size(), 1.0);
        std::vector<std::size_t> next(first_of_.begin(), first_of_.end() - 1);
        for (const Pixel& p : found) {
            const std::size_t at = next[p.sector]++;
            pixels_.x[at] = p.x, pixels_.y[at] = p.y, pixels_.t[at] = p.t;
        }
    }

    [[nodiscard]] RimNormal assemble(const RimModel& model) const {
        RimNormal n;
        n.sectors.resize(model.sectors.size());
        over_runs(model, shared_, [&](RimRun& run, std::size_t sector, std::size_t first) {
            n.add(model, static_cast<int>(sector), &pixels_.t[first], &pixels_.inverse_sigma[first], run);
        });
        n.add_beliefs(model, belief_);
        return n;
    }

    [[nodiscard]] RimModel moved(const RimModel& from, const RimReduced::Step& step) const {
        RimModel to = from;
        const double most = 1.5 * shared_.sigma_px; // a longer stride leaves the edge's own slope behind
        const auto& own = step.own;
        to.centre_px.x += std::clamp(own[cx], -most, most);
        to.centre_px.y += std::clamp(own[cy], -most, most);
        to.radius_px = std::max(1.0, to.radius_px + std::clamp(own[radius], -most, most));
        if (to.plated) to.wall_px = std::clamp(to.wall_px + own[wall], 0.0, 12.0);
        if (to.drill_radius_px() < 1.0) to.wall_px = 1.0 - to.radius_px;
        to.open += own[open];
        to.outside += own[outside];
        to.ring_gap_px = std::max(0.0, to.ring_gap_px + std::clamp(own[ring_gap], -most, most));
        to.ring_offset_px.x += std::clamp(own[ring_x], -most, most);
        to.ring_offset_px.y += std::clamp(own[ring_y], -most, most);
        for (std::size_t k = 0; k < to.sectors.size(); ++k) {
            RimSector& s = to.sectors[k];
            s.lift += step.sectors[k][lift];
            s.gap_px += std::clamp(step.sectors[k][gap], -most, most);
            if (!s.in_ring) s.gap_px = std::max(s.gap_least_px, s.gap_px);
            s.beyond += step.sectors[k][beyond];
        }
        return to;
    }

    /// Chi-square a pixel of each sector: what lies in front of one shows there and nowhere else.
    [[nodiscard]] std::vector<double> misfit_by_sector() const {
        std::vector<double> sum(model_.sectors.size());
        over_runs(model_, shared_, [&](const RimRun& run, std::size_t sector, std::size_t first) {
            for (std::size_t i = 0; i < run.count; ++i) {
                const double z = (pixels_.t[first + i] - run.value[i]) * pixels_.inverse_sigma[first + i];
                sum[sector] += std::min(z * z, 25.0);
            }
        });
        for (std::size_t k = 0; k < sum.size(); ++k)
            if (const auto count = first_of_[k + 1] - first_of_[k]; count > 0)
                sum[k] /= static_cast<double>(count);
        return sum;
    }

    void finish(const RimNormal& n, RimFit& fit) const {
        fit.model = model_;
        fit.sector_misfit = misfit_by_sector();
        fit.chi2 = n.chi2;
        fit.pixels = static_cast<int>(pixels_.size());
        fit.parameters = fitted_.count();
        const RimReduced reduced(n, fitted_, 0);
        const Eigen::LDLT<Eigen::Matrix<double, rim_own, rim_own>> solver(
            reduced.a.topLeftCorner<rim_own, rim_own>());
        const Eigen::Matrix<double, rim_own, rim_own> inverse =
            solver.solve(Eigen::Matrix<double, rim_own, rim_own>::Identity());
        const Eigen::Matrix<double, rim_own, 2> cross = reduced.a.topRightCorner<rim_own, 2>();
        const Eigen::Matrix<double, rim_own, 2> carried = inverse * cross;
        const double scale = std::max(1.0, fit.chi2_per_dof()) * noise_.correlation;
        for (const int a : {cx, cy, radius, wall}) {
            if (!fitted_.own[static_cast<std::size_t>(a)]) continue;
            fit.by_shared.row(a) = -carried.row(a);
            for (const int b : {cx, cy, radius, wall})
                if (fitted_.own[static_cast<std::size_t>(b)]) fit.covariance(a, b) = scale * inverse(a, b);
        }
        fit.shared_curvature = (reduced.a.bottomRightCorner<2, 2>() - cross.transpose() * carried) / scale;
        fit.shared_gradient = n.g.tail<2>() / scale;
    }

    const NoiseModel& noise_;
    RimShared shared_;
    RimBelief belief_;
    const RimFrame* frame_;
    RimModel model_;
    RimFitted fitted_;
    RimPixels pixels_;
    std::vector<std::size_t> first_of_; ///< first pixel of each sector, and the end
};

} // namespace

namespace {

/// Share of the turn of a direction, 0 to 1, within 2e-6 (Abramowitz & Stegun 4.4.49): most pixels lie far
/// from the border of a sector.
double turn_near(double x, double y) {
    const double ax = std::abs(x), ay = std::abs(y);
    const double q = std::min(ax, ay) / std::max({ax, ay, 1e-30}), q2 = q * q;
    const double arc =
        q * (0.9998660 + q2 * (-0.3302995 + q2 * (0.1801410 + q2 * (-0.0851330 + q2 * 0.0208351))));
    const double eighth = arc / (2 * std::numbers::pi);
    const double quarter = ay > ax ? 0.25 - eighth : eighth;
    const double half = x < 0 ? 0.5 - quarter : quarter;
    return y < 0 ? 1 - half : half;
}

} // namespace

int RimModel::sector_of(double dx, double dy) const {
    const int count = static_cast<int>(sectors.size());
    const double near = count * turn_near(dx, -dy), whole = std::floor(near);
    if (near - whole > 1e-3 && near - whole < 1 - 1e-3) return static_cast<int>(whole);
    const double turn = std::atan2(-dy, dx) / (2 * std::numbers::pi); // anticlockwise as seen, y points down
    const int k = static_cast<int>(std::floor((turn < 0 ? turn + 1 : turn) * count));
    return std::clamp(k, 0, count - 1);
}

double RimModel::gap_of(std::size_t k) const {
    const double turn =
        2 * std::numbers::pi * (static_cast<double>(k) + 0.5) / static_cast<double>(sectors.size());
    return gap_at(sectors[k], std::cos(turn), -std::sin(turn));
}

RimFit fit_rim(ImageView<const float> t, const NoiseModel& noise, const RimModel& start,
               const RimShared& shared, const RimBelief& belief, const RimFrame* frame) {
    return RimSolver(t, noise, start, shared, belief, frame).run();
}

double rim_value(const RimModel& model, const RimShared& shared, double rho_px, int sector) {
    const double turn = 2 * std::numbers::pi * (sector + 0.5) / static_cast<double>(model.sectors.size());
    const RimPixels at{{model.centre_px.x + rho_px * std::cos(turn)},
                       {model.centre_px.y - rho_px * std::sin(turn)},
                       {0.0},
                       {1.0}};
    RimRun run;
    RimPrediction(model, shared).fill(at, 0, 1, sector, run);
    return run.value[0];
}

} // namespace ringwall
