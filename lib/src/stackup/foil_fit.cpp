// SPDX-License-Identifier: Apache-2.0
#include "stackup/foil_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {
namespace {

double below(double z) {
    return 0.5 * std::erfc(-z / std::numbers::sqrt2);
}

constexpr int foil_terms = 5; ///< middle, log thickness, area, level before, level behind
constexpr int face_terms = 2; ///< depth, step
constexpr double least_blur = 0.3, most_blur = 5, least_foil = 0.05, most_foil = 12;

double held(double log_value, double least, double most) {
    return std::exp(std::clamp(log_value, std::log(least), std::log(most)));
}

class Readings {
  public:
    Readings(const FoilFit& guess, double noise, double usual_px, double u_log_usual)
        : guess_(guess), noise_(noise), log_usual_(std::log(usual_px)), u_log_usual_(u_log_usual) {
        for (const auto& foil : guess.foils)
            count_ += static_cast<Eigen::Index>(foil.readings.size()) + 1;
        for (const auto& face : guess.faces)
            count_ += static_cast<Eigen::Index>(face.readings.size());
    }

    [[nodiscard]] Eigen::VectorXd start() const {
        Eigen::VectorXd p(1 + foil_terms * foils() +
                          face_terms * static_cast<Eigen::Index>(guess_.faces.size()));
        p[0] = std::log(guess_.blur);
        Eigen::Index at = 1;
        for (const auto& foil : guess_.foils) {
            double highest = 1;
            for (const DepthReading& r : foil.readings)
                highest = std::max(highest, r.value);
            p.segment(at, foil_terms) << foil.middle, log_usual_, highest * 2.5, 1, 1;
            at += foil_terms;
        }
        for (const auto& face : guess_.faces) {
            p.segment(at, face_terms) << face.depth, 1;
            at += face_terms;
        }
        return p;
    }

    [[nodiscard]] Eigen::VectorXd residuals(const Eigen::VectorXd& p) const {
        Eigen::VectorXd r(count_);
        const double blur = held(p[0], least_blur, most_blur);
        Eigen::Index row = 0, at = 1;
        for (const auto& foil : guess_.foils) {
            for (const DepthReading& reading : foil.readings)
                r[row++] = (of_foil(p.segment(at, foil_terms), blur, reading) - reading.value) / noise_;
            r[row++] = (p[at + 1] - log_usual_) / u_log_usual_;
            at += foil_terms;
        }
        for (const auto& face : guess_.faces) {
            for (const DepthReading& reading : face.readings)
                r[row++] =
                    (of_face(p.segment(at, face_terms), face.rising, blur, reading) - reading.value) / noise_;
            at += face_terms;
        }
        return r;
    }

    /// Each block of terms touches its own readings only; the blur touches all.
    [[nodiscard]] Eigen::MatrixXd slopes(const Eigen::VectorXd& p) const {
        Eigen::MatrixXd jacobian(count_, p.size());
        for (Eigen::Index k = 0; k < p.size(); ++k) {
            const double step = 1e-5 * std::max(1.0, std::abs(p[k]));
            Eigen::VectorXd more = p, less = p;
            more[k] += step, less[k] -= step;
            jacobian.col(k) = (residuals(more) - residuals(less)) / (2 * step);
        }
        return jacobian;
    }

    static double of_foil(const Eigen::VectorXd& terms, double blur, const DepthReading& reading) {
        const double s = std::sqrt(blur * blur + reading.smear2);
        const double thickness = held(terms[1], least_foil, most_foil);
        const double d = reading.depth - terms[0], half = thickness / 2;
        const double before = below(-(d + half) / s), behind = below((d - half) / s);
        return terms[2] / thickness * (1 - before - behind) + terms[3] * before + terms[4] * behind;
    }
    static double of_face(const Eigen::VectorXd& terms, bool rising, double blur,
                          const DepthReading& reading) {
        const double s = std::sqrt(blur * blur + reading.smear2);
        const double inside = (rising ? 1 : -1) * (reading.depth - terms[0]);
        return terms[1] * below(inside / s);
    }

  private:
    [[nodiscard]] Eigen::Index foils() const { return static_cast<Eigen::Index>(guess_.foils.size()); }
    const FoilFit& guess_;
    double noise_, log_usual_, u_log_usual_;
    Eigen::Index count_ = 0;
};

} // namespace

FoilFit fit_foils(FoilFit guess, double noise, double usual_px, double u_log_usual) {
    const Readings readings(guess, noise, usual_px, u_log_usual);
    Eigen::VectorXd p = readings.start(), r = readings.residuals(p);
    double chi2 = r.squaredNorm(), lambda = 1e-2;
    Eigen::MatrixXd normal;
    for (int round = 0; round < 80; ++round) {
        const Eigen::MatrixXd jacobian = readings.slopes(p);
        normal = jacobian.transpose() * jacobian;
        const Eigen::VectorXd gradient = jacobian.transpose() * r;
        double gain = -1;
        for (int tries = 0; tries < 10 && gain < 0; ++tries) {
            Eigen::MatrixXd damped = normal;
            damped.diagonal() *= 1 + lambda;
            const Eigen::VectorXd next = p - damped.ldlt().solve(gradient);
            const Eigen::VectorXd next_r = readings.residuals(next);
            const double next_chi2 = next_r.squaredNorm();
            if (std::isfinite(next_chi2) && next_chi2 < chi2) {
                gain = chi2 - next_chi2;
                p = next, r = next_r, chi2 = next_chi2, lambda = std::max(lambda / 5, 1e-9);
            } else {
                lambda *= 6;
            }
        }
        if (gain < 1e-9 * chi2) break;
    }
    const double widen = std::max(1.0, chi2 / static_cast<double>(r.size()));
    const Eigen::MatrixXd covariance =
        widen * normal.ldlt().solve(Eigen::MatrixXd::Identity(p.size(), p.size()));
    FoilFit fit = std::move(guess);
    fit.blur = held(p[0], least_blur, most_blur);
    fit.u_blur = fit.blur * std::sqrt(covariance(0, 0));
    fit.residual = std::sqrt(chi2 / static_cast<double>(r.size()));
    Eigen::Index at = 1;
    for (auto& foil : fit.foils) {
        foil.middle = p[at], foil.u_middle = std::sqrt(covariance(at, at));
        foil.thickness = held(p[at + 1], least_foil, most_foil);
        foil.u_thickness = foil.thickness * std::sqrt(covariance(at + 1, at + 1));
        at += foil_terms;
    }
    for (auto& face : fit.faces) {
        face.depth = p[at], face.u_depth = std::sqrt(covariance(at, at));
        at += face_terms;
    }
    return fit;
}

} // namespace ringwall
