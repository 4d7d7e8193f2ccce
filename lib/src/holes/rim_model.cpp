// SPDX-License-Identifier: Apache-2.0
#include "holes/rim_model.hpp"

#include "core/special.hpp"
#include "holes/disk_profile.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ringwall {

namespace {

constexpr int most_rounds = 40;
constexpr double settled_chi2 = 2e-3; // a fall of chi-square that moves nothing by more than 0.05 of its u
constexpr double huber_sigmas = 3.0;
constexpr double core_sigmas = 6.0; // enough of the air inside to fix its level

/// Columns of the normal equations: the hole's own first, then three a sector, then the shared two.
enum Column { cx, cy, radius, wall, open, outside, ring_gap, ring_x, ring_y };
enum SectorColumn { lift, gap, beyond };
constexpr int first_sector = 9, per_sector = 3;

struct RimPixel {
    double x, y, t;
    double inverse_sigma; // from the model's T, not the pixel's: a noisy weight would pull the level down
    int sector;
};

/// Value and derivatives at one pixel; sector derivatives go to the pixel's own sector.
struct Slopes {
    double value = 0;
    std::array<double, first_sector> own{};
    std::array<double, per_sector> sector{};
    std::array<double, 2> shared{}; // sigma, barrel
};

/// dD/dsigma = sigma (D'' + D'/rho) by the heat equation; D'' from the leading behaviour of D'.
double by_sigma(const DiskProfile::Sample& d, double rho, double edge, double sigma) {
    return sigma * d.d_rho * (-(rho - edge) / (sigma * sigma) + 0.5 / std::max(rho, 0.5));
}

class RimPrediction {
  public:
    RimPrediction(const RimModel& model, const RimShared& shared)
        : model_(model), shared_(shared), inner_(model.radius_px, shared.sigma_px),
          outer_(model.drill_radius_px(), shared.sigma_px) {}

    [[nodiscard]] Slopes at(double dx, double dy, int sector) const {
        const double rho = std::sqrt(dx * dx + dy * dy);
        const auto inner = inner_.at(rho), outer = outer_.at(rho);
        const RimSector& s = model_.sectors[static_cast<std::size_t>(sector)];
        const double level = model_.outside + s.lift;
        Slopes out;
        double d_rho =
            model_.open * inner.d_rho + shared_.barrel * (outer.d_rho - inner.d_rho) - level * outer.d_rho;
        out.value = model_.open * inner.value + shared_.barrel * (outer.value - inner.value) +
                    level * (1 - outer.value);
        const double outward = (shared_.barrel - level) * outer.d_radius;
        out.own[radius] = (model_.open - shared_.barrel) * inner.d_radius + outward;
        out.own[wall] = outward;
        out.own[open] = inner.value;
        out.own[outside] = out.sector[lift] = 1 - outer.value;
        out.shared[0] =
            (model_.open - shared_.barrel) * by_sigma(inner, rho, model_.radius_px, shared_.sigma_px) +
            (shared_.barrel - level) * by_sigma(outer, rho, model_.drill_radius_px(), shared_.sigma_px);
        out.shared[1] = outer.value - inner.value;
        const double inverse = rho > 1e-9 ? 1.0 / rho : 0.0;
        if (s.has_step) add_step(s, level, rho, {dx * inverse, dy * inverse}, d_rho, out);
        out.own[cx] = -d_rho * dx * inverse;
        out.own[cy] = -d_rho * dy * inverse;
        return out;
    }

  private:
    /// The step beyond the plateau is a nuisance: a straight edge with the first-order curvature shift is
    /// enough.
    void add_step(const RimSector& s, double level, double rho, Point unit, double& d_rho,
                  Slopes& out) const {
        const double gap_px = model_.gap_at(s, unit.x, unit.y);
        const double edge = model_.drill_radius_px() + gap_px, sigma = shared_.sigma_px;
        const double z = (edge - sigma * sigma / (2 * edge) - rho) / sigma;
        const double inside = normal_cdf(z), density = normal_density(z) / sigma;
        const double step = s.beyond - level;
        out.value += step * (1 - inside);
        d_rho += step * density;
        out.own[radius] -= step * density;
        out.own[wall] -= step * density;
        out.own[outside] -= 1 - inside;
        out.sector[lift] -= 1 - inside;
        if (!s.in_ring || gap_px > 0) out.sector[gap] = -step * density;
        if (s.in_ring && gap_px > 0) {
            out.own[ring_gap] = -step * density;
            out.own[ring_x] = -step * density * unit.x;
            out.own[ring_y] = -step * density * unit.y;
        }
        out.sector[beyond] = 1 - inside;
        out.shared[0] += step * density * z;
    }

    const RimModel& model_;
    const RimShared& shared_;
    DiskProfile inner_, outer_;
};

struct Normal {
    Eigen::MatrixXd a;
    Eigen::VectorXd g;
    double chi2 = 0;
};

class RimSolver {
  public:
    RimSolver(ImageView<const float> t, const NoiseModel& noise, const RimModel& start,
              const RimShared& shared, const RimBelief& belief, const RimFrame* frame)
        : noise_(noise), shared_(shared), belief_(belief), frame_(frame), model_(start) {
        size_ = first_sector + per_sector * static_cast<int>(model_.sectors.size()) + 2;
        collect(t, frame ? frame->model : start);
        mark_fitted();
    }

    RimFit run() {
        RimFit fit;
        fit.sector_misfit.assign(model_.sectors.size(), 0.0);
        if (static_cast<int>(pixels_.size()) < 3 * static_cast<int>(fitted_.size()) / 2) {
            fit.model = model_;
            return fit;
        }
        weigh();
        Normal now = iterate(fit);
        if (!frame_) weigh(), now = iterate(fit);
        finish(now, fit);
        return fit;
    }

  private:
    /// Fixed weights during a descent: chi-square then is one function, and every accepted step lowers it.
    void weigh() {
        const RimModel& from = frame_ ? frame_->model : model_;
        const RimPrediction prediction(from, frame_ ? frame_->shared : shared_);
        for (RimPixel& p : pixels_) {
            const double value =
                prediction.at(p.x - from.centre_px.x, p.y - from.centre_px.y, p.sector).value;
            p.inverse_sigma = 1 / std::max(noise_.sigma(std::clamp(value, 0.0, 1.2)), 1e-4);
        }
    }

    /// Converged: a stride below 2e-4 px, or one of full length that hardly lowers chi-square (a step that
    /// the noise hides may wander for ever), or no stride however short lowers it (a gap that stands at
    /// nothing).
    Normal iterate(RimFit& fit) {
        Normal now = assemble(model_);
        double damping = 1e-3, last_fall = 1e9;
        fit.converged = false;
        for (int round = 0; round < most_rounds && !fit.converged; ++round) {
            const Eigen::VectorXd step = damped_step(now, damping);
            const bool still =
                std::abs(step[cx]) + std::abs(step[cy]) + std::abs(step[radius]) + std::abs(step[wall]) <
                2e-4;
            const RimModel next = moved(model_, step);
            Normal then = assemble(next);
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
        const double sigma = frame_ ? frame_->shared.sigma_px : shared_.sigma_px;
        const double inner = std::max(0.0, from.radius_px - core_sigmas * sigma);
        double band = 0;
        for (const RimSector& s : from.sectors)
            band = std::max(band, s.band_px);
        const double outer = from.drill_radius_px() + band;
        const int x0 = std::max(0, static_cast<int>(std::floor(from.centre_px.x - outer)));
        const int y0 = std::max(0, static_cast<int>(std::floor(from.centre_px.y - outer)));
        const int x1 = std::min(t.width() - 1, static_cast<int>(std::ceil(from.centre_px.x + outer)));
        const int y1 = std::min(t.height() - 1, static_cast<int>(std::ceil(from.centre_px.y + outer)));
        for (int y = y0; y <= y1; ++y)
            for (int x = x0; x <= x1; ++x) {
                const double dx = x - from.centre_px.x, dy = y - from.centre_px.y,
                             rho = std::sqrt(dx * dx + dy * dy);
                if (rho < inner || rho > outer) continue;
                const int sector = from.sector_of(dx, dy);
                const RimSector& s = from.sectors[static_cast<std::size_t>(sector)];
                if (s.used && rho <= from.drill_radius_px() + s.band_px)
                    pixels_.push_back({static_cast<double>(x), static_cast<double>(y), t(x, y), 1.0, sector});
            }
        std::stable_sort(pixels_.begin(), pixels_.end(),
                         [](const RimPixel& a, const RimPixel& b) { return a.sector < b.sector; });
    }

    [[nodiscard]] static int column_of(int sector, int which) {
        return first_sector + per_sector * sector + which;
    }

    /// Parameters that exist in this model, shared ones left out; the others stay where they are.
    void mark_fitted() {
        for (int c : {cx, cy, radius, open, outside})
            fitted_.push_back(c);
        if (model_.plated) fitted_.push_back(wall);
        if (std::any_of(model_.sectors.begin(), model_.sectors.end(),
                        [](const RimSector& s) { return s.used && s.in_ring; }))
            fitted_.insert(fitted_.end(), {ring_gap, ring_x, ring_y});
        for (int k = 0; k < static_cast<int>(model_.sectors.size()); ++k) {
            const RimSector& s = model_.sectors[static_cast<std::size_t>(k)];
            if (!s.used) continue;
            fitted_.push_back(column_of(k, lift));
            if (!s.has_step) continue;
            if (s.gap_free) fitted_.push_back(column_of(k, gap));
            fitted_.push_back(column_of(k, beyond));
        }
    }

    [[nodiscard]] Normal assemble(const RimModel& model) const {
        Normal n;
        n.a = Eigen::MatrixXd::Zero(size_, size_);
        n.g = Eigen::VectorXd::Zero(size_);
        const RimPrediction prediction(model, shared_);
        for (std::size_t i = 0; i < pixels_.size();) { // pixels stand sector by sector
            const int sector = pixels_[i].sector;
            SectorSums sums;
            for (; i < pixels_.size() && pixels_[i].sector == sector; ++i)
                add_pixel(sums, n.chi2, pixels_[i],
                          prediction.at(pixels_[i].x - model.centre_px.x, pixels_[i].y - model.centre_px.y,
                                        sector));
            scatter(sums, sector, n);
        }
        add_beliefs(n, model);
        return n;
    }

    /// Normal equations of one sector: own columns, the sector's, the shared ones; one slot over for whole
    /// vectors.
    struct SectorSums {
        static constexpr std::size_t columns = first_sector + per_sector + 2, width = columns + 1;
        std::array<std::array<double, width>, columns> a{};
        std::array<double, width> g{};
    };

    static void add_pixel(SectorSums& sums, double& chi2, const RimPixel& p, const Slopes& s) {
        const double residual = (p.t - s.value) * p.inverse_sigma, size = std::abs(residual);
        const bool far = size > huber_sigmas;
        chi2 += far ? huber_sigmas * (2 * size - huber_sigmas) : residual * residual;
        const double weight = (far ? huber_sigmas / size : 1.0) * p.inverse_sigma * p.inverse_sigma;
        std::array<double, SectorSums::width> d{};
        std::copy(s.own.begin(), s.own.end(), d.begin());
        std::copy(s.sector.begin(), s.sector.end(), d.begin() + first_sector);
        std::copy(s.shared.begin(), s.shared.end(), d.begin() + first_sector + per_sector);
        const double off = weight * (p.t - s.value);
        for (std::size_t i = 0; i < SectorSums::width; ++i)
            sums.g[i] += off * d[i];
        for (std::size_t i = 0; i < SectorSums::columns; ++i) {
            const double wd = weight * d[i];
            const std::size_t end =
                std::min(SectorSums::width, (i + 4) & ~std::size_t{3}); // lower triangle, in vectors
            for (std::size_t j = 0; j < end; ++j)
                sums.a[i][j] += wd * d[j];
        }
    }

    void scatter(const SectorSums& sums, int sector, Normal& n) const {
        std::array<int, SectorSums::columns> at{};
        for (int c = 0; c < first_sector; ++c)
            at[static_cast<std::size_t>(c)] = c;
        for (int c = 0; c < per_sector; ++c)
            at[static_cast<std::size_t>(first_sector + c)] = column_of(sector, c);
        at[first_sector + per_sector] = size_ - 2, at[first_sector + per_sector + 1] = size_ - 1;
        for (std::size_t i = 0; i < at.size(); ++i) {
            n.g[at[i]] += sums.g[i];
            for (std::size_t j = 0; j <= i; ++j) // columns ascend: the lower triangle only
                n.a(at[i], at[j]) += sums.a[i][j];
        }
    }

    static void add_belief(Normal& n, int column, double now, double expected, double u) {
        if (u <= 0) return;
        n.a(column, column) += 1 / (u * u);
        n.g[column] += (expected - now) / (u * u);
        n.chi2 += (expected - now) * (expected - now) / (u * u);
    }
    void add_beliefs(Normal& n, const RimModel& model) const {
        add_belief(n, open, model.open, belief_.open, belief_.open_u);
        add_belief(n, outside, model.outside, belief_.outside, belief_.outside_u);
        const double offset_u = model.ring_eccentric ? belief_.ring_offset_u_px : 1e-6;
        add_belief(n, ring_x, model.ring_offset_px.x, 0, offset_u);
        add_belief(n, ring_y, model.ring_offset_px.y, 0, offset_u);
        for (int k = 0; k < static_cast<int>(model.sectors.size()); ++k) {
            const RimSector& s = model.sectors[static_cast<std::size_t>(k)];
            if (!s.used) continue;
            add_belief(n, column_of(k, lift), s.lift, 0, belief_.lift_u);
            if (!s.has_step) continue;
            if (s.in_ring)
                add_belief(n, column_of(k, gap), s.gap_px, 0, belief_.ring_gap_u_px);
            else
                add_belief(n, column_of(k, gap), s.gap_px, s.gap_expected_px, belief_.gap_u_px);
            add_belief(n, column_of(k, beyond), s.beyond, s.beyond_expected, belief_.beyond_u);
        }
    }

    /// Rows and columns of the fitted parameters, symmetric.
    [[nodiscard]] Eigen::MatrixXd fitted_part(const Normal& n) const {
        const auto m = static_cast<Eigen::Index>(fitted_.size());
        Eigen::MatrixXd part(m, m);
        for (Eigen::Index i = 0; i < m; ++i)
            for (Eigen::Index j = 0; j <= i; ++j) {
                const int r = fitted_[static_cast<std::size_t>(i)], c = fitted_[static_cast<std::size_t>(j)];
                part(i, j) = part(j, i) = n.a(std::max(r, c), std::min(r, c));
            }
        return part;
    }

    [[nodiscard]] Eigen::VectorXd damped_step(const Normal& n, double damping) const {
        Eigen::MatrixXd part = fitted_part(n);
        Eigen::VectorXd gradient(part.rows());
        for (Eigen::Index i = 0; i < part.rows(); ++i) {
            part(i, i) = part(i, i) * (1 + damping) + 1e-12;
            gradient[i] = n.g[fitted_[static_cast<std::size_t>(i)]];
        }
        const Eigen::VectorXd solved = part.ldlt().solve(gradient);
        Eigen::VectorXd step = Eigen::VectorXd::Zero(size_);
        for (Eigen::Index i = 0; i < part.rows(); ++i)
            step[fitted_[static_cast<std::size_t>(i)]] = solved[i];
        return step;
    }

    [[nodiscard]] RimModel moved(const RimModel& from, const Eigen::VectorXd& step) const {
        RimModel to = from;
        const double most = 1.5 * shared_.sigma_px; // a longer stride leaves the edge's own slope behind
        to.centre_px.x += std::clamp(step[cx], -most, most);
        to.centre_px.y += std::clamp(step[cy], -most, most);
        to.radius_px = std::max(1.0, to.radius_px + std::clamp(step[radius], -most, most));
        if (to.plated) to.wall_px = std::clamp(to.wall_px + step[wall], 0.0, 12.0);
        if (to.drill_radius_px() < 1.0) to.wall_px = 1.0 - to.radius_px;
        to.open += step[open];
        to.outside += step[outside];
        to.ring_gap_px = std::max(0.0, to.ring_gap_px + std::clamp(step[ring_gap], -most, most));
        to.ring_offset_px.x += std::clamp(step[ring_x], -most, most);
        to.ring_offset_px.y += std::clamp(step[ring_y], -most, most);
        for (std::size_t k = 0; k < to.sectors.size(); ++k) {
            RimSector& s = to.sectors[k];
            s.lift += step[column_of(static_cast<int>(k), lift)];
            s.gap_px += std::clamp(step[column_of(static_cast<int>(k), gap)], -most, most);
            if (!s.in_ring) s.gap_px = std::max(s.gap_least_px, s.gap_px);
            s.beyond += step[column_of(static_cast<int>(k), beyond)];
        }
        return to;
    }

    /// Chi-square a pixel of each sector: what lies in front of one shows there and nowhere else.
    [[nodiscard]] std::vector<double> misfit_by_sector() const {
        std::vector<double> sum(model_.sectors.size()), count(model_.sectors.size());
        const RimPrediction prediction(model_, shared_);
        for (const RimPixel& p : pixels_) {
            const auto k = static_cast<std::size_t>(p.sector);
            const double z =
                (p.t - prediction.at(p.x - model_.centre_px.x, p.y - model_.centre_px.y, p.sector).value) *
                p.inverse_sigma;
            sum[k] += std::min(z * z, 25.0), count[k] += 1;
        }
        for (std::size_t k = 0; k < sum.size(); ++k)
            sum[k] = count[k] > 0 ? sum[k] / count[k] : 0;
        return sum;
    }

    void finish(const Normal& n, RimFit& fit) const {
        fit.model = model_;
        fit.sector_misfit = misfit_by_sector();
        fit.chi2 = n.chi2;
        fit.pixels = static_cast<int>(pixels_.size());
        fit.parameters = static_cast<int>(fitted_.size());
        const Eigen::MatrixXd part = fitted_part(n);
        const auto m = part.rows();
        Eigen::MatrixXd cross(m, 2);
        for (Eigen::Index i = 0; i < m; ++i)
            for (int c = 0; c < 2; ++c)
                cross(i, c) = n.a(size_ - 2 + c, fitted_[static_cast<std::size_t>(i)]);
        const Eigen::LDLT<Eigen::MatrixXd> solver(part);
        const Eigen::MatrixXd inverse = solver.solve(Eigen::MatrixXd::Identity(m, m));
        const Eigen::MatrixXd carried = inverse * cross;
        const double scale = std::max(1.0, fit.chi2_per_dof()) * noise_.correlation;
        const std::array<int, 4> wanted{cx, cy, radius, wall};
        for (Eigen::Index i = 0; i < m; ++i)
            for (int a = 0; a < 4; ++a) {
                if (fitted_[static_cast<std::size_t>(i)] != wanted[static_cast<std::size_t>(a)]) continue;
                fit.by_shared.row(a) = -carried.row(i);
                for (Eigen::Index j = 0; j < m; ++j)
                    for (int b = 0; b < 4; ++b)
                        if (fitted_[static_cast<std::size_t>(j)] == wanted[static_cast<std::size_t>(b)])
                            fit.covariance(a, b) = scale * inverse(i, j);
            }
        Eigen::Matrix2d corner;
        corner << n.a(size_ - 2, size_ - 2), n.a(size_ - 1, size_ - 2), n.a(size_ - 1, size_ - 2),
            n.a(size_ - 1, size_ - 1);
        fit.shared_curvature = (corner - cross.transpose() * carried) / scale;
        fit.shared_gradient = n.g.tail<2>() / scale;
    }

    const NoiseModel& noise_;
    RimShared shared_;
    RimBelief belief_;
    const RimFrame* frame_;
    RimModel model_;
    std::vector<RimPixel> pixels_;
    std::vector<int> fitted_;
    int size_ = 0;
};

} // namespace

int RimModel::sector_of(double dx, double dy) const {
    const double turn = std::atan2(-dy, dx) / (2 * std::numbers::pi); // anticlockwise as seen, y points down
    const int count = static_cast<int>(sectors.size());
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
    return RimPrediction(model, shared).at(rho_px * std::cos(turn), -rho_px * std::sin(turn), sector).value;
}

} // namespace ringwall
