// SPDX-License-Identifier: Apache-2.0
#include "stackup/step_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

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
    // A line at its least width must not hold up the rest of the fit.
    for (std::size_t j = 1; j < steps.edges.size(); ++j) {
        if (steps.edges[j] - steps.edges[j - 1] < -3 * steps.sigma) return false;
        steps.edges[j] = std::max(steps.edges[j], steps.edges[j - 1] + least_width_px);
    }
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

/// Transmission of the laminate beside copper on a face, as a share of what lies outside (open beam or mask);
/// nothing for a line between two laminates.
std::optional<double> laminate_by_outside(const Steps& s, std::size_t i) {
    for (const std::size_t k : {i - 1, i + 1})
        if (s.is[k] != Steps::Is::laminate)
            return std::clamp(laminate_beside(s, i) / std::max(s.levels[k], 0.02), 0.02, 0.98);
    return std::nullopt;
}

/// Width of the opaque copper that a blurred profile cannot tell from this line. Of a line thinner than the
/// blur a profile tells the shadow alone, c w between two laminates (c the share that it takes away of their
/// transmission). On a face it tells where the step down from outside lies and how sharp it looks, its zeroth
/// and first moment: with laminate of L (outside 1) both are those of opaque copper w sqrt(c (1 - L + c L)).
double opaque_width(const Steps& s, std::size_t i) {
    const double width = s.edges[i] - s.edges[i - 1];
    const double c = std::clamp(1 - s.levels[i] / laminate_beside(s, i), 0.0, 1.0);
    const auto laminate = laminate_by_outside(s, i);
    return laminate ? width * std::sqrt(c * (1 - *laminate + c * *laminate)) : width * c;
}

/// Share c that the line would take away, were it as wide as `plane`.
double coverage(const Steps& s, std::size_t i, double plane) {
    const double share = opaque_width(s, i) / plane;
    const auto laminate = laminate_by_outside(s, i);
    if (!laminate) return share;
    const double gap = 1 - *laminate;
    return (std::sqrt(gap * gap + 4 * *laminate * share * share) - gap) / (2 * *laminate);
}

/// Copper levels taken as planes: opaque, as millimetres of copper are.
std::vector<char> planes_of(const Steps& s) {
    constexpr double plane_from = 0.7;
    std::vector<char> planes(s.is.size());
    double strongest = 1e-3;
    for (const int j : s.copper())
        strongest = std::max(strongest, opaque_width(s, static_cast<std::size_t>(j)));
    for (const int j : s.copper()) {
        const auto k = static_cast<std::size_t>(j);
        planes[k] = coverage(s, k, strongest) >= plane_from ? 1 : 0;
    }
    return planes;
}

/// A line thinner than the blur tells its shadow, depth times width, but hardly either. So planes are taken
/// as opaque; weaker lines (traces in some columns) as wide as those, or as a stated foil.
void add_line_priors(const Steps& s, const StepPriors& priors, const std::vector<char>& planes,
                     Equations& into) {
    const auto edges = static_cast<Eigen::Index>(s.edges.size());
    constexpr double u_opaque = 0.06, u_like = 0.4;
    double width = 0, count = 0;
    const std::vector<int> copper = s.copper();
    for (const int j : copper) {
        const auto k = static_cast<std::size_t>(j);
        if (planes[k] != 0) width += s.edges[k] - s.edges[k - 1], ++count;
    }
    for (const int j : copper) {
        const auto i = static_cast<Eigen::Index>(j);
        const auto k = static_cast<std::size_t>(j);
        const double own = s.edges[k] - s.edges[k - 1];
        if (planes[k] != 0) into.pull(edges + i, -s.levels[k], u_opaque * laminate_beside(s, k));
        if (priors.foil_px)
            into.pull_difference(i, i - 1, *priors.foil_px - own, priors.u_foil_px);
        else if (planes[k] == 0 && count > 0)
            into.pull_difference(i, i - 1, width / count - own, u_like);
    }
}

void add_priors(const Steps& s, const StepPriors& priors, const std::vector<char>& planes, Equations& into) {
    const auto edges = static_cast<Eigen::Index>(s.edges.size());
    into.pull(into.right.size() - 1, priors.blur_px - s.sigma, priors.u_blur_px);
    add_line_priors(s, priors, planes, into);
    for (std::size_t j = 0; j < s.levels.size(); ++j)
        if (s.levels[j] < 0) into.pull(edges + static_cast<Eigen::Index>(j), -s.levels[j], below_nothing);
}

Equations equations(const Steps& steps, const std::vector<Sample>& samples, const StepPriors& priors,
                    const std::vector<char>& planes) {
    Equations at(static_cast<Eigen::Index>(steps.edges.size() + steps.levels.size() + 1));
    std::vector<std::pair<Eigen::Index, double>> row;
    for (const Sample& sample : samples)
        add_sample(steps, sample, row, at);
    add_priors(steps, priors, planes, at);
    return at;
}

/// With the planes held: what is asked of the fit must not change under it, or it stops where it is asked
/// least.
StepFit fit_with(Steps start, const std::vector<Sample>& samples, const StepPriors& priors,
                 const std::vector<char>& planes) {
    StepFit fit;
    fit.steps = std::move(start);
    Equations at = equations(fit.steps, samples, priors, planes);
    double damping = 1e-3;
    for (int iteration = 0; iteration < 60 && damping < 1e8; ++iteration) {
        Eigen::MatrixXd matrix = at.matrix;
        matrix.diagonal() *= 1 + damping;
        matrix.diagonal().array() += 1e-9;
        const Eigen::VectorXd step = matrix.ldlt().solve(at.right);
        Steps tried = fit.steps;
        const bool sound = step.allFinite() && unpack(packed(fit.steps) + step, tried);
        if (sound) {
            Equations next = equations(tried, samples, priors, planes);
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
    constexpr int most_rounds = 4;
    std::vector<char> planes = planes_of(start);
    StepFit fit = fit_with(std::move(start), samples, priors, planes);
    for (int round = 1; round < most_rounds; ++round) {
        std::vector<char> next = planes_of(fit.steps);
        if (next == planes) break;
        planes = std::move(next);
        fit = fit_with(std::move(fit.steps), samples, priors, planes);
    }
    return fit;
}

} // namespace ringwall::stackup
