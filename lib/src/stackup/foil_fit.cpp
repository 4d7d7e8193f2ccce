// SPDX-License-Identifier: Apache-2.0
#include "stackup/foil_fit.hpp"

#include "core/special.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <span>

namespace ringwall {
namespace {

/// What the model leaves of real readings: of a block's peak, and of a face's step (copper over a thousandth
/// of a block bends it).
constexpr double model_share = 0.0007, face_share = 0.06;
constexpr double least_blur = 0.3, most_blur = 5, least_foil = 0.05, most_foil = 12;
constexpr double u_shift = 0.1; ///< slices: of one block about the sheet

double held(double log_value, double least, double most) {
    return std::exp(std::clamp(log_value, std::log(least), std::log(most)));
}

double highest(const BlockReadings& block) {
    double most = 1;
    for (const DepthReading& reading : block)
        most = std::max(most, reading.value);
    return most;
}

/// A block's readings with its own terms, all in units of noise; the last row holds the shift near 0.
struct BlockSystem {
    Eigen::MatrixXd columns;
    Eigen::VectorXd values;
    BlockSystem(const BlockReadings& block, Eigen::Index terms)
        : columns(Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(block.size()) + 1, terms)),
          values(Eigen::VectorXd::Zero(static_cast<Eigen::Index>(block.size()) + 1)) {
        columns(columns.rows() - 1, terms - 1) = 1 / u_shift;
    }
    [[nodiscard]] Eigen::VectorXd residuals() const {
        return values - columns * columns.colPivHouseholderQr().solve(values);
    }
};

Eigen::VectorXd foil_residuals(const BlockReadings& block, double middle, double thickness, double blur,
                               double noise) {
    BlockSystem system(block, 4);
    const double most = highest(block), sigma = std::hypot(noise, model_share * most);
    const double half = thickness / 2;
    for (std::size_t i = 0; i < block.size(); ++i) {
        const DepthReading& reading = block[i];
        const auto row = static_cast<Eigen::Index>(i);
        const double s = std::sqrt(blur * blur + reading.smear2), d = reading.depth - middle;
        const double before = normal_cdf(-(d + half) / s), behind = normal_cdf((d - half) / s);
        const double slope = (normal_density((d + half) / s) - normal_density((d - half) / s)) / s;
        system.columns.row(row) << 1 - before - behind, before, behind, -slope * most / thickness;
        system.columns.row(row) /= sigma;
        system.values[row] = reading.value / sigma;
    }
    return system.residuals();
}

Eigen::VectorXd face_residuals(const BlockReadings& block, double depth, bool rising, double blur,
                               double noise) {
    BlockSystem system(block, 2);
    const double sigma = std::hypot(noise, face_share);
    for (std::size_t i = 0; i < block.size(); ++i) {
        const DepthReading& reading = block[i];
        const auto row = static_cast<Eigen::Index>(i);
        const double s = std::sqrt(blur * blur + reading.smear2);
        const double inside = (rising ? 1 : -1) * (reading.depth - depth);
        system.columns.row(row) << normal_cdf(inside / s), normal_density(inside / s) / s;
        system.columns.row(row) /= sigma;
        system.values[row] = reading.value / sigma;
    }
    return system.residuals();
}

/// The parameters: log blur, then of each foil middle and log thickness, then of each face its depth. The
/// residuals of foil or face g stand at `first(g)`, those of the foils' usual thickness at the end.
class Readings {
  public:
    Readings(const FoilFit& guess, double noise, double usual_px, double u_log_usual)
        : guess_(guess), noise_(noise), log_usual_(std::log(usual_px)), u_log_usual_(u_log_usual) {
        const auto add = [this](const std::vector<BlockReadings>& blocks) {
            first_.push_back(count_);
            for (const BlockReadings& block : blocks)
                count_ += static_cast<Eigen::Index>(block.size()) + 1;
        };
        for (const CoveredFoil& foil : guess.foils)
            add(foil.blocks);
        for (const BareFace& face : guess.faces)
            add(face.blocks);
        first_.push_back(count_);
    }
    [[nodiscard]] Eigen::Index foils() const { return static_cast<Eigen::Index>(guess_.foils.size()); }
    [[nodiscard]] Eigen::Index groups() const { return static_cast<Eigen::Index>(first_.size()) - 1; }
    /// Readings less what is eliminated from each block.
    [[nodiscard]] double free_readings() const {
        double free = 0;
        for (const CoveredFoil& foil : guess_.foils)
            for (const BlockReadings& block : foil.blocks)
                free += static_cast<double>(block.size()) - 3;
        for (const BareFace& face : guess_.faces)
            for (const BlockReadings& block : face.blocks)
                free += static_cast<double>(block.size()) - 1;
        return free;
    }

    [[nodiscard]] Eigen::VectorXd start() const {
        Eigen::VectorXd p(1 + foils() + groups());
        p[0] = std::log(guess_.blur);
        Eigen::Index at = 1;
        for (const CoveredFoil& foil : guess_.foils)
            p[at++] = foil.middle, p[at++] = std::log(foil.thickness);
        for (const BareFace& face : guess_.faces)
            p[at++] = face.depth;
        return p;
    }
    [[nodiscard]] Eigen::VectorXd residuals(const Eigen::VectorXd& p) const {
        Eigen::VectorXd r(count_ + foils());
        for (Eigen::Index g = 0; g < groups(); ++g)
            of_group(p, g, r);
        return r;
    }
    /// Central differences; a foil's or face's own parameters move its own readings only.
    [[nodiscard]] Eigen::MatrixXd slopes(const Eigen::VectorXd& p) const {
        Eigen::MatrixXd jacobian = Eigen::MatrixXd::Zero(count_ + foils(), p.size());
        for (Eigen::Index k = 0; k < p.size(); ++k) {
            constexpr double step = 1e-5;
            Eigen::VectorXd more = p, less = p;
            more[k] += step, less[k] -= step;
            Eigen::VectorXd up = Eigen::VectorXd::Zero(jacobian.rows()), down = up;
            for (Eigen::Index g = 0; g < groups(); ++g) {
                if (k > 0 && group_of(k) != g) continue;
                of_group(more, g, up);
                of_group(less, g, down);
            }
            jacobian.col(k) = (up - down) / (2 * step);
        }
        return jacobian;
    }

  private:
    [[nodiscard]] Eigen::Index group_of(Eigen::Index parameter) const {
        const Eigen::Index of_foils = 2 * foils();
        return parameter <= of_foils ? (parameter - 1) / 2 : parameter - 1 - foils();
    }
    void of_group(const Eigen::VectorXd& p, Eigen::Index group, Eigen::VectorXd& r) const {
        const double blur = held(p[0], least_blur, most_blur);
        Eigen::Index row = first_[static_cast<std::size_t>(group)];
        const auto put = [&](const Eigen::VectorXd& part) {
            r.segment(row, part.size()) = part;
            row += part.size();
        };
        if (group < foils()) {
            const double middle = p[1 + 2 * group], log_thickness = p[2 + 2 * group];
            const double thickness = held(log_thickness, least_foil, most_foil);
            for (const BlockReadings& block : guess_.foils[static_cast<std::size_t>(group)].blocks)
                put(foil_residuals(block, middle, thickness, blur, noise_));
            r[count_ + group] = (log_thickness - log_usual_) / u_log_usual_;
            return;
        }
        const BareFace& face = guess_.faces[static_cast<std::size_t>(group - foils())];
        for (const BlockReadings& block : face.blocks)
            put(face_residuals(block, p[1 + foils() + group], face.rising, blur, noise_));
    }

    const FoilFit& guess_;
    double noise_, log_usual_, u_log_usual_;
    Eigen::Index count_ = 0;
    std::vector<Eigen::Index> first_;
};

struct Solution {
    Eigen::VectorXd p;
    Eigen::MatrixXd covariance;
    double chi2 = 0;
};

Solution solved(const Readings& readings) {
    Eigen::VectorXd p = readings.start(), r = readings.residuals(p);
    double chi2 = r.squaredNorm(), lambda = 1e-2;
    Eigen::MatrixXd normal;
    for (int round = 0; round < 60; ++round) {
        const Eigen::MatrixXd jacobian = readings.slopes(p);
        normal = jacobian.transpose() * jacobian;
        normal.diagonal().array() += 1e-12; // a face that no block shows moves nothing
        const Eigen::VectorXd gradient = jacobian.transpose() * r;
        double gain = -1;
        for (int tries = 0; tries < 10 && gain < 0; ++tries) {
            Eigen::MatrixXd damped = normal;
            damped.diagonal() *= 1 + lambda;
            const Eigen::VectorXd next = p - damped.ldlt().solve(gradient);
            if (!next.allFinite()) break;
            const Eigen::VectorXd next_r = readings.residuals(next);
            const double next_chi2 = next_r.squaredNorm();
            if (std::isfinite(next_chi2) && next_chi2 < chi2) {
                gain = chi2 - next_chi2;
                p = next, r = next_r, chi2 = next_chi2, lambda = std::max(lambda / 5, 1e-9);
            } else {
                lambda *= 6;
            }
        }
        if (gain < 1e-7 * chi2) break;
    }
    const double free = std::max(1.0, readings.free_readings());
    return {p,
            std::max(1.0, chi2 / free) * normal.ldlt().solve(Eigen::MatrixXd::Identity(p.size(), p.size())),
            chi2 / free};
}

FoilFit fit_once(FoilFit guess, double noise, double usual_px, double u_log_usual) {
    const Solution found = solved(Readings(guess, noise, usual_px, u_log_usual));
    const auto u = [&](Eigen::Index at) { return std::sqrt(std::max(0.0, found.covariance(at, at))); };
    FoilFit fit = std::move(guess);
    fit.blur = held(found.p[0], least_blur, most_blur);
    fit.u_blur = fit.blur * u(0);
    fit.residual = std::sqrt(found.chi2);
    Eigen::Index at = 1;
    for (CoveredFoil& foil : fit.foils) {
        foil.middle = found.p[at], foil.u_middle = u(at);
        foil.thickness = held(found.p[at + 1], least_foil, most_foil);
        foil.u_thickness = foil.thickness * u(at + 1);
        at += 2;
    }
    for (BareFace& face : fit.faces)
        face.depth = found.p[at], face.u_depth = u(at), ++at;
    return fit;
}

/// RMS of every block's residuals, foil by foil.
std::vector<std::vector<double>> misfits(const FoilFit& fit, double noise) {
    std::vector<std::vector<double>> all;
    for (const CoveredFoil& foil : fit.foils) {
        all.emplace_back();
        for (const BlockReadings& block : foil.blocks) {
            const Eigen::VectorXd r = foil_residuals(block, foil.middle, foil.thickness, fit.blur, noise);
            all.back().push_back(r.norm() / std::sqrt(static_cast<double>(block.size())));
        }
    }
    return all;
}

double middle_of(const std::vector<std::vector<double>>& lists) {
    std::vector<double> values;
    for (const auto& list : lists)
        values.insert(values.end(), list.begin(), list.end());
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// A block that is no foil between two even surrounds (a barrel that ends or is broken near by, a part on the
/// board) would bend the blur that all foils share. The best half of a foil's blocks always stay.
bool drop_misfits(FoilFit& fit, double noise) {
    constexpr double most_misfit = 2; ///< times the middle of all blocks
    const auto all = misfits(fit, noise);
    const double limit = most_misfit * std::max(middle_of(all), 0.5);
    bool dropped = false;
    for (std::size_t k = 0; k < fit.foils.size(); ++k) {
        const double own = 1.01 * middle_of({all[k]});
        std::vector<BlockReadings> kept;
        for (std::size_t i = 0; i < all[k].size(); ++i)
            if (all[k][i] <= std::max(limit, own)) kept.push_back(std::move(fit.foils[k].blocks[i]));
        dropped = dropped || kept.size() < all[k].size();
        fit.foils[k].blocks = std::move(kept);
    }
    return dropped;
}

} // namespace

FoilFit fit_foils(FoilFit guess, double noise, double usual_px, double u_log_usual) {
    constexpr int most_rounds = 6;
    FoilFit fit = fit_once(std::move(guess), noise, usual_px, u_log_usual);
    for (int round = 1; round < most_rounds && drop_misfits(fit, noise); ++round)
        fit = fit_once(std::move(fit), noise, usual_px, u_log_usual);
    return fit;
}

} // namespace ringwall
