// SPDX-License-Identifier: Apache-2.0
#include "stackup/depth_model.hpp"

#include "core/special.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <utility>

namespace ringwall {
namespace {

constexpr int common_terms = 4, foil_terms = 3;
/// Of a foil, laminate steps times slices: copper only adds, or an outer foil and the laminate's face trade.
constexpr double least_area = 1e-4, most_area = 1e4;
/// Laminate steps. A foil of 18 um over a tenth of a block makes 0.8 there at one slice of blur; the mean
/// over the board is known to about a hundredth.
constexpr double least_crest = 0.3, least_excess = 0.05;
constexpr double rough_share = 0.02; ///< of the weights, while foils are looked for
/// Slices. A scan whose blur or foils lie outside is no board scan; a fit that goes there has lost its way.
constexpr double least_blur = 0.3, most_blur = 5, least_foil = 0.05, most_foil = 12;

Eigen::VectorXd packed(const DepthModel& model) {
    Eigen::VectorXd p(common_terms + foil_terms * static_cast<Eigen::Index>(model.foils.size()));
    p.head(common_terms) << model.laminate, model.low, model.high, std::log(model.blur);
    for (std::size_t k = 0; k < model.foils.size(); ++k) {
        const FoilLine& foil = model.foils[k];
        // The area of a line is known far better than its height and width are.
        p.segment(common_terms + foil_terms * static_cast<Eigen::Index>(k), foil_terms) << foil.middle,
            std::log(foil.thickness), std::log(std::max(foil.height * foil.thickness, least_area));
    }
    return p;
}

DepthModel unpacked(const Eigen::VectorXd& p) {
    DepthModel model;
    model.laminate = p[0], model.low = p[1], model.high = p[2];
    model.blur = std::exp(std::clamp(p[3], std::log(least_blur), std::log(most_blur)));
    for (Eigen::Index at = common_terms; at < p.size(); at += foil_terms) {
        FoilLine foil;
        foil.middle = p[at];
        foil.thickness = std::exp(std::clamp(p[at + 1], std::log(least_foil), std::log(most_foil)));
        foil.height =
            std::exp(std::clamp(p[at + 2], std::log(least_area), std::log(most_area))) / foil.thickness;
        model.foils.push_back(foil);
    }
    return model;
}

/// A guess as strong as one reading whose weight stands beside it.
struct Prior {
    double blur = 1, u_log_blur = 0.5;
    double foil = 1.4, u_log_foil = 0.7;
    std::vector<double> middles; ///< of the foils, where each was first seen
    double u_middle = 1.5;
    double low = 0, high = 0, u_face = 1.5; ///< the laminate's faces
    double u_laminate = 0.1;                ///< its level, about 1
};

struct Fit {
    DepthModel model;
    Eigen::MatrixXd covariance; ///< of packed()
    double chi2 = 0;
};

class Fitter {
  public:
    Fitter(const DepthProfile& profile, Prior prior) : profile_(profile), prior_(std::move(prior)) {}

    [[nodiscard]] Fit fitted(const DepthModel& start) const {
        Eigen::VectorXd p = packed(start);
        double lambda = 1e-3, chi2 = residuals(p).squaredNorm();
        Eigen::MatrixXd jacobian;
        for (int round = 0; round < 60; ++round) {
            const Eigen::VectorXd r = residuals(p);
            jacobian = slopes(p, r);
            const Eigen::MatrixXd normal = jacobian.transpose() * jacobian;
            const Eigen::VectorXd gradient = jacobian.transpose() * r;
            bool better = false;
            double gain = 0;
            for (int tries = 0; tries < 8 && !better; ++tries) {
                Eigen::MatrixXd damped = normal;
                damped.diagonal() *= 1 + lambda;
                const Eigen::VectorXd next = p - damped.ldlt().solve(gradient);
                const double next_chi2 = next.allFinite() ? residuals(next).squaredNorm() : chi2;
                better = next_chi2 < chi2;
                if (better) {
                    gain = chi2 - next_chi2;
                    p = next, chi2 = next_chi2, lambda = std::max(lambda / 5, 1e-9);
                } else {
                    lambda *= 6;
                }
            }
            if (!better || gain < 1e-10 * chi2) break;
        }
        jacobian = slopes(p, residuals(p));
        Fit fit{unpacked(p),
                (jacobian.transpose() * jacobian).ldlt().solve(Eigen::MatrixXd::Identity(p.size(), p.size())),
                chi2};
        return fit;
    }

  private:
    /// Weighted; the last entries are the priors.
    [[nodiscard]] Eigen::VectorXd residuals(const Eigen::VectorXd& p) const {
        const DepthModel model = unpacked(p);
        const auto n = static_cast<Eigen::Index>(profile_.depth.size());
        const auto foils = static_cast<Eigen::Index>(model.foils.size());
        Eigen::VectorXd r(n + 4 + 2 * foils);
        for (Eigen::Index i = 0; i < n; ++i) {
            const auto k = static_cast<std::size_t>(i);
            r[i] = (model.at(profile_.depth[k]) - profile_.value[k]) * profile_.weight[k];
        }
        r[n] = (std::log(model.blur) - std::log(prior_.blur)) / prior_.u_log_blur;
        r[n + 1] = (model.low - prior_.low) / prior_.u_face;
        r[n + 2] = (model.high - prior_.high) / prior_.u_face;
        r[n + 3] = (model.laminate - 1) / prior_.u_laminate;
        for (Eigen::Index k = 0; k < foils; ++k) {
            const FoilLine& foil = model.foils[static_cast<std::size_t>(k)];
            r[n + 4 + k] = (std::log(foil.thickness) - std::log(prior_.foil)) / prior_.u_log_foil;
            r[n + 4 + foils + k] =
                (foil.middle - prior_.middles[static_cast<std::size_t>(k)]) / prior_.u_middle;
        }
        return r;
    }

    [[nodiscard]] Eigen::MatrixXd slopes(const Eigen::VectorXd& p, const Eigen::VectorXd& r) const {
        Eigen::MatrixXd jacobian(r.size(), p.size());
        for (Eigen::Index k = 0; k < p.size(); ++k) {
            const double step = 1e-5 * std::max(1.0, std::abs(p[k]));
            Eigen::VectorXd more = p, less = p;
            more[k] += step, less[k] -= step;
            jacobian.col(k) = (residuals(more) - residuals(less)) / (2 * step);
        }
        return jacobian;
    }

    const DepthProfile& profile_;
    Prior prior_;
};

/// The model with the areas of its foils as least squares gives them, all else as it stands.
DepthModel with_areas(const DepthProfile& profile, DepthModel model) {
    const auto n = static_cast<Eigen::Index>(profile.depth.size());
    const auto foils = static_cast<Eigen::Index>(model.foils.size());
    if (foils == 0) return model;
    DepthModel bare = model;
    bare.foils.clear();
    Eigen::MatrixXd lines(n, foils);
    Eigen::VectorXd rest(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        const double d = profile.depth[static_cast<std::size_t>(i)];
        rest[i] = profile.value[static_cast<std::size_t>(i)] - bare.at(d);
        for (Eigen::Index k = 0; k < foils; ++k)
            lines(i, k) = model.line(model.foils[static_cast<std::size_t>(k)], d);
    }
    const Eigen::VectorXd heights = lines.colPivHouseholderQr().solve(rest);
    for (Eigen::Index k = 0; k < foils; ++k)
        model.foils[static_cast<std::size_t>(k)].height = std::max(heights[k], 0.01);
    return model;
}

/// Each foil held near the place where it was first seen: one that blur, thickness and the laminate's face
/// can stand in for would wander off, and be lost.
Fit fit_from(const DepthProfile& profile, Prior prior, const DepthModel& start) {
    for (const FoilLine& foil : start.foils)
        prior.middles.push_back(foil.first_seen);
    Fit fit = Fitter(profile, prior).fitted(with_areas(profile, start));
    for (std::size_t k = 0; k < fit.model.foils.size(); ++k)
        fit.model.foils[k].first_seen = start.foils[k].first_seen;
    return fit;
}

/// Where the profile stands highest over the model, in units of the tolerance there.
struct Peak {
    double depth = 0, excess = 0;
};
Peak highest_excess(const DepthProfile& profile, const DepthModel& model) {
    Peak best;
    const double apart = 2 * model.blur;
    for (std::size_t i = 0; i < profile.depth.size(); ++i) {
        const double d = profile.depth[i];
        if (d < model.low - apart || d > model.high + apart) continue;
        double share = 0; // of the foils' own lines: a model's shape is not exact to a per cent of them
        bool near = false;
        for (const FoilLine& foil : model.foils) {
            share += foil.height * model.line(foil, d);
            near |= std::abs(d - foil.middle) < apart + foil.thickness / 2;
        }
        const double excess = profile.value[i] - model.at(d) - 0.02 * share;
        if (!near && excess > best.excess) best = {d, excess};
    }
    return best;
}

void sort_by_depth(DepthModel& model) {
    std::sort(model.foils.begin(), model.foils.end(),
              [](const FoilLine& a, const FoilLine& b) { return a.middle < b.middle; });
}

/// Mean of the foils' thickness (log), weighted by the area of their lines.
double usual_thickness(const DepthModel& model) {
    double sum = 0, weights = 0;
    for (const FoilLine& foil : model.foils) {
        const double weight = std::max(foil.height * foil.thickness, 1e-6);
        sum += weight * std::log(foil.thickness), weights += weight;
    }
    return std::exp(sum / weights);
}

/// Two foils at one place are one whose shape the model does not match.
bool stands_apart(const DepthModel& model) {
    for (std::size_t k = 1; k < model.foils.size(); ++k)
        if (model.foils[k].middle - model.foils[k - 1].middle < model.blur) return false;
    return true;
}

DepthModel faces_of(const DepthProfile& profile) {
    DepthModel model;
    model.laminate = 1;
    const std::size_t n = profile.depth.size();
    std::size_t first = 0, last = n - 1;
    while (first + 1 < n && profile.value[first] < 0.5)
        ++first;
    while (last > first && profile.value[last] < 0.5)
        --last;
    model.low = profile.depth[first], model.high = profile.depth[last];
    return model;
}

/// Every place whose crest stands over both sides of it: where the first guess puts foils. A layer that
/// covers a hundredth of the board still fills some blocks.
void add_peaks(const DepthProfile& profile, double foil_px, DepthModel& model) {
    constexpr double near = 1.0, side = 6; ///< slices
    for (std::size_t i = 0; i < profile.depth.size(); ++i) {
        const double d = profile.depth[i], value = profile.crest[i];
        if (d < model.low - 2 || d > model.high + 2) continue;
        double left = value, right = value;
        bool highest = true;
        for (std::size_t j = 0; j < profile.depth.size(); ++j) {
            const double off = profile.depth[j] - d;
            if (std::abs(off) > side) continue;
            if (std::abs(off) < near && profile.crest[j] > value) highest = false;
            (off < 0 ? left : right) = std::min(off < 0 ? left : right, profile.crest[j]);
        }
        if (!highest || value - std::max(left, right) < least_crest) continue;
        FoilLine foil;
        foil.middle = foil.first_seen = d, foil.thickness = foil_px;
        foil.height = std::max(0.01, 1.5 * (profile.value[i] - 1));
        model.foils.push_back(foil);
    }
}

void finish(DepthModel& model, const Fit& fit, const DepthProfile& profile) {
    const auto n = static_cast<double>(profile.depth.size());
    const auto& c = fit.covariance;
    model.u_blur = model.blur * std::sqrt(c(3, 3));
    double squares = 0;
    for (std::size_t i = 0; i < profile.depth.size(); ++i)
        squares += std::pow(model.at(profile.depth[i]) - profile.value[i], 2);
    model.residual = std::sqrt(squares / n);
    for (std::size_t k = 0; k < model.foils.size(); ++k) {
        const Eigen::Index at = common_terms + foil_terms * static_cast<Eigen::Index>(k);
        model.foils[k].u_middle = std::sqrt(c(at, at));
        model.foils[k].u_thickness = model.foils[k].thickness * std::sqrt(c(at + 1, at + 1));
    }
    set_outer_faces(model);
}

} // namespace

void set_outer_faces(DepthModel& model) {
    constexpr double near = 2;          // slices
    constexpr double u_bare_face = 0.3; // copper too thin or too little to show may still lie there
    double variance = 0;
    for (const bool at_high : {false, true}) {
        double& face = at_high ? model.high_face : model.low_face;
        bool& copper = at_high ? model.high_is_copper : model.low_is_copper;
        face = at_high ? model.high : model.low;
        copper = false;
        if (!model.foils.empty()) {
            const FoilLine& foil = at_high ? model.foils.back() : model.foils.front();
            const double edge = foil.middle + (at_high ? 0.5 : -0.5) * foil.thickness;
            copper = std::abs(edge - face) < near;
            if (copper) {
                face = edge;
                variance += foil.u_middle * foil.u_middle + foil.u_thickness * foil.u_thickness / 4;
            }
        }
        if (!copper) variance += u_bare_face * u_bare_face;
    }
    model.u_thickness = std::sqrt(variance);
}

double DepthModel::line(const FoilLine& foil, double depth) const {
    const double d = depth - foil.middle, half = foil.thickness / 2;
    return normal_cdf((d + half) / blur) - normal_cdf((d - half) / blur);
}

double DepthModel::line_slope(const FoilLine& foil, double depth) const {
    const double d = depth - foil.middle, half = foil.thickness / 2;
    return (normal_density((d + half) / blur) - normal_density((d - half) / blur)) / blur;
}

double DepthModel::at(double depth) const {
    double value = laminate * (normal_cdf((depth - low) / blur) - normal_cdf((depth - high) / blur));
    for (const FoilLine& foil : foils)
        value += foil.height * line(foil, depth);
    return value;
}

DepthModel fit_depth_model(const DepthProfile& profile, std::optional<double> foil_px) {
    Prior prior;
    if (foil_px) prior.foil = *foil_px, prior.u_log_foil = 0.1;
    DepthModel start = faces_of(profile);
    add_peaks(profile, prior.foil, start);
    prior.low = start.low, prior.high = start.high;
    // A bad guess fitted with all its weight leads astray: first rough weights, so that the priors hold it.
    DepthProfile rough = profile;
    for (double& weight : rough.weight)
        weight *= rough_share;
    const auto fitted = [&](const DepthModel& from) {
        return fit_from(profile, prior, fit_from(rough, prior, from).model);
    };
    constexpr std::size_t most_foils = 64;
    Fit best = fitted(start);
    const double bic = 3 * std::log(static_cast<double>(profile.depth.size()));
    while (best.model.foils.size() < most_foils) {
        const Peak peak = highest_excess(profile, best.model);
        if (peak.excess < least_excess) break;
        DepthModel more = best.model;
        FoilLine foil;
        foil.middle = foil.first_seen = peak.depth, foil.thickness = prior.foil,
        foil.height = 1.5 * peak.excess;
        more.foils.push_back(foil);
        sort_by_depth(more);
        Fit next = fitted(more);
        if (next.chi2 > best.chi2 - bic || !stands_apart(next.model)) break;
        best = std::move(next);
    }
    // Where the profile tells the foils' thickness, the guess must not pull it: it moves to what was found,
    // and says only that the foils of one board are much alike.
    for (int round = 0; round < 3 && !foil_px && !best.model.foils.empty(); ++round) {
        prior.foil = usual_thickness(best.model);
        prior.u_log_foil = 0.3;
        best = fit_from(profile, prior, best.model);
    }
    finish(best.model, best, profile);
    return best.model;
}

} // namespace ringwall
