// SPDX-License-Identifier: Apache-2.0
#include "stackup/step_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::stackup {
namespace {

constexpr double least_width_px = 0.15; ///< between two edges
constexpr double below_nothing = 0.004; ///< how far copper's level may fall under zero: an offset not known

double normal_below(double z) {
    return 0.5 * std::erfc(-z / std::numbers::sqrt2);
}

double normal_density(double z) {
    return std::exp(-z * z / 2) / std::sqrt(2 * std::numbers::pi);
}

/// Parameters in a row: edges, levels, sigma.
Eigen::VectorXd packed(const Steps& steps) {
    Eigen::VectorXd p(static_cast<Eigen::Index>(steps.edges.size() + steps.levels.size() + 1));
    Eigen::Index i = 0;
    for (const double e : steps.edges)
        p[i++] = e;
    for (const double l : steps.levels)
        p[i++] = l;
    p[i] = steps.sigma;
    return p;
}

bool unpack(const Eigen::VectorXd& p, Steps& steps) {
    Eigen::Index i = 0;
    for (double& e : steps.edges)
        e = p[i++];
    for (double& l : steps.levels)
        l = p[i++];
    steps.sigma = p[i];
    for (std::size_t j = 1; j < steps.edges.size(); ++j)
        if (steps.edges[j] - steps.edges[j - 1] < least_width_px) return false;
    return steps.sigma > 0.2 && steps.sigma < 20;
}

/// Normal equations of the weighted residuals at one place.
struct Equations {
    Eigen::MatrixXd matrix;
    Eigen::VectorXd right;
    double chi2 = 0;    ///< of the samples
    double penalty = 0; ///< of what is known beforehand
    explicit Equations(Eigen::Index n)
        : matrix(Eigen::MatrixXd::Zero(n, n)), right(Eigen::VectorXd::Zero(n)) {}
    void pull(Eigen::Index i, double off, double u) {
        matrix(i, i) += 1 / (u * u);
        right[i] += off / (u * u);
        penalty += off * off / (u * u);
    }
    void pull_difference(Eigen::Index high, Eigen::Index low, double off, double u) {
        const double w = 1 / (u * u);
        matrix(high, high) += w, matrix(low, low) += w;
        matrix(high, low) -= w, matrix(low, high) -= w;
        right[high] += off * w, right[low] -= off * w;
        penalty += off * off * w;
    }
};

void add_sample(const Steps& s, const Sample& sample, std::vector<std::pair<Eigen::Index, double>>& row,
                Equations& into) {
    const auto edges = static_cast<Eigen::Index>(s.edges.size()), sigma_at = into.right.size() - 1;
    const double reach = 6 * s.sigma;
    row.clear();
    double t = 0, by_sigma = 0, above = 1; // share of the blur that lies beyond the last edge looked at
    for (std::size_t j = 0; j <= s.edges.size(); ++j) {
        double here = 0;
        if (j < s.edges.size()) {
            const double off = (sample.z - s.edges[j]) / s.sigma;
            here = normal_below(off);
            if (std::abs(off) * s.sigma < reach) {
                const double slope = (s.levels[j + 1] - s.levels[j]) * normal_density(off) / s.sigma;
                row.emplace_back(static_cast<Eigen::Index>(j), -slope);
                by_sigma -= slope * off;
            }
        }
        const double share = above - here;
        above = here;
        if (share == 0) continue;
        t += share * s.levels[j];
        row.emplace_back(edges + static_cast<Eigen::Index>(j), share);
    }
    row.emplace_back(sigma_at, by_sigma);
    const double w = 1 / (sample.u * sample.u), off = sample.t - t;
    into.chi2 += w * off * off;
    for (const auto& [i, a] : row) {
        into.right[i] += w * a * off;
        for (const auto& [k, b] : row)
            into.matrix(i, k) += w * a * b;
    }
}

double laminate_beside(const Steps& s, std::size_t i) {
    double most = 0.02;
    for (const std::size_t k : {i - 1, i + 1})
        if (s.is[k] == Steps::Is::laminate) most = std::max(most, s.levels[k]);
    return most;
}

double shadow(const Steps& s, std::size_t i) {
    return (laminate_beside(s, i) - s.levels[i]) * (s.edges[i] - s.edges[i - 1]);
}

/// A line thinner than the blur tells its shadow, depth times width, but hardly either. Millimetres of copper
/// let nothing through, so the strongest lines, planes, are taken as opaque; weaker ones (traces in some
/// columns) as wide as those, or as a stated foil.
void add_line_priors(const Steps& s, const StepPriors& priors, Equations& into) {
    const auto edges = static_cast<Eigen::Index>(s.edges.size());
    constexpr double plane_from = 0.7, u_opaque = 0.06, u_like = 0.4;
    double strongest = 0, width = 0, planes = 0;
    const std::vector<int> copper = s.copper();
    for (const int j : copper)
        strongest = std::max(strongest, shadow(s, static_cast<std::size_t>(j)));
    const auto is_plane = [&](int j) {
        return shadow(s, static_cast<std::size_t>(j)) >= plane_from * strongest;
    };
    for (const int j : copper)
        if (is_plane(j))
            width += s.edges[static_cast<std::size_t>(j)] - s.edges[static_cast<std::size_t>(j) - 1],
                ++planes;
    for (const int j : copper) {
        const auto i = static_cast<Eigen::Index>(j);
        const auto k = static_cast<std::size_t>(j);
        const double own = s.edges[k] - s.edges[k - 1];
        if (is_plane(j)) into.pull(edges + i, -s.levels[k], u_opaque * laminate_beside(s, k));
        if (priors.foil_px)
            into.pull_difference(i, i - 1, *priors.foil_px - own, priors.u_foil_px);
        else if (!is_plane(j))
            into.pull_difference(i, i - 1, width / planes - own, u_like);
    }
}

void add_priors(const Steps& s, const StepPriors& priors, Equations& into) {
    const auto edges = static_cast<Eigen::Index>(s.edges.size());
    into.pull(into.right.size() - 1, priors.blur_px - s.sigma, priors.u_blur_px);
    add_line_priors(s, priors, into);
    for (std::size_t j = 0; j < s.levels.size(); ++j)
        if (s.levels[j] < 0) into.pull(edges + static_cast<Eigen::Index>(j), -s.levels[j], below_nothing);
}

Equations equations(const Steps& steps, const std::vector<Sample>& samples, const StepPriors& priors) {
    Equations at(static_cast<Eigen::Index>(steps.edges.size() + steps.levels.size() + 1));
    std::vector<std::pair<Eigen::Index, double>> row;
    for (const Sample& sample : samples)
        add_sample(steps, sample, row, at);
    add_priors(steps, priors, at);
    return at;
}

} // namespace

double Steps::at(double z) const {
    double t = levels.front();
    for (std::size_t j = 0; j < edges.size(); ++j)
        t += (levels[j + 1] - levels[j]) * normal_below((z - edges[j]) / sigma);
    return t;
}

std::vector<int> Steps::copper() const {
    std::vector<int> list;
    for (std::size_t j = 0; j < is.size(); ++j)
        if (is[j] == Is::copper) list.push_back(static_cast<int>(j));
    return list;
}

StepFit fit_steps(Steps start, const std::vector<Sample>& samples, const StepPriors& priors) {
    StepFit fit;
    fit.steps = std::move(start);
    Equations at = equations(fit.steps, samples, priors);
    double damping = 1e-3;
    for (int iteration = 0; iteration < 60 && damping < 1e8; ++iteration) {
        Eigen::MatrixXd matrix = at.matrix;
        matrix.diagonal() *= 1 + damping;
        matrix.diagonal().array() += 1e-9;
        const Eigen::VectorXd step = matrix.ldlt().solve(at.right);
        Steps tried = fit.steps;
        const bool sound = step.allFinite() && unpack(packed(fit.steps) + step, tried);
        if (sound) {
            Equations next = equations(tried, samples, priors);
            const double before = at.chi2 + at.penalty, after = next.chi2 + next.penalty;
            if (after <= before) {
                fit.steps = std::move(tried);
                at = std::move(next);
                damping = std::max(1e-9, damping / 10);
                if (before - after < 1e-6 * before) break;
                continue;
            }
        }
        damping *= 8;
    }
    fit.chi2 = at.chi2;
    const auto freedom = static_cast<double>(samples.size()) - static_cast<double>(at.right.size());
    fit.misfit = freedom > 0 ? std::max(1.0, at.chi2 / freedom) : 1;
    at.matrix.diagonal().array() += 1e-9;
    fit.covariance = at.matrix.ldlt().solve(Eigen::MatrixXd::Identity(at.right.size(), at.right.size()));
    return fit;
}

} // namespace ringwall::stackup
