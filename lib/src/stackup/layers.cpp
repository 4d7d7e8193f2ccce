// SPDX-License-Identifier: Apache-2.0
#include "stackup/layers.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace ringwall::stackup {
namespace {

using Is = Steps::Is;

constexpr double worth_naming = 0.06; ///< of the strongest line's area: below this the model's own faults lie
constexpr double worth_naming_alone = 0.02; ///< the same of a line that no other's tails reach
constexpr double sure_from = 4;             ///< times its own u: a misfit of the model is counted in that
constexpr double bic_margin = 20;           ///< beyond k ln n: odds of e^10

struct Dip {
    double z, t;
};

/// Minima from which the profile rises again by `rise` on both sides.
std::vector<Dip> dips(const std::vector<Sample>& samples, double rise) {
    std::vector<Dip> list;
    Dip low{0, 1e9};
    double high = samples.front().t;
    bool falling = false;
    for (const Sample& s : samples) {
        if (!falling) {
            high = std::max(high, s.t);
            if (s.t < high - rise) falling = true, low = {s.z, s.t};
        } else if (s.t < low.t) {
            low = {s.z, s.t};
        } else if (s.t > low.t + rise) {
            list.push_back(low);
            falling = false, high = s.t;
        }
    }
    return list;
}

double level_near(const std::vector<Sample>& samples, double from, double to, double q) {
    std::vector<double> t;
    for (const Sample& s : samples)
        if (s.z >= from && s.z <= to) t.push_back(s.t);
    if (t.empty()) return 1;
    std::sort(t.begin(), t.end());
    return t[static_cast<std::size_t>(q * static_cast<double>(t.size() - 1))];
}

double crossing_from(const std::vector<Sample>& samples, double level, bool forward) {
    const auto n = samples.size();
    for (std::size_t i = 0; i < n; ++i) {
        const Sample& s = samples[forward ? i : n - 1 - i];
        if (s.t < level) return s.z;
    }
    return (samples.front().z + samples.back().z) / 2;
}

/// Means of five bins: a dip is wider.
std::vector<Sample> calmed(const std::vector<Sample>& samples, double sigma) {
    std::vector<Sample> out;
    const double reach = 0.5 * sigma;
    std::size_t first = 0;
    for (const Sample& s : samples) {
        while (samples[first].z < s.z - reach)
            ++first;
        double t = 0, n = 0;
        for (std::size_t k = first; k < samples.size() && samples[k].z <= s.z + reach; ++k)
            t += samples[k].t, n += 1;
        out.push_back({s.z, t / n, s.u, s.spread});
    }
    return out;
}

/// Builds the row of steps from dips: copper of a first guess' width each.
class Start {
  public:
    Start(const std::vector<Sample>& samples, double low, double high, const StepPriors& priors)
        : samples_(samples), low_(low), high_(high), priors_(priors), calm_(calmed(samples, priors.blur_px)) {
    }

    std::optional<Steps> make() {
        double noise = 0;
        for (const Sample& s : samples_)
            noise = std::max(noise, s.u);
        air_low_ = level_near(samples_, samples_.front().z, low_ - 5, 0.5);
        air_high_ = level_near(samples_, high_ + 5, samples_.back().z, 0.5);
        laminate_ = level_near(calm_, low_ + 3, high_ - 3, 0.75);
        const double darkness = std::max(0.02, air_low_ - level_near(calm_, low_, high_, 0.2));
        steps_.sigma = priors_.blur_px;
        add(Is::air, air_low_, 0);
        for (const Dip& dip : dips(calm_, std::max(5 * noise, 0.03 * darkness)))
            add_dip(dip);
        end();
        for (std::size_t j = 1; j < steps_.edges.size(); ++j) // first guesses may overlap
            steps_.edges[j] = std::max(steps_.edges[j], steps_.edges[j - 1] + 0.3);
        if (steps_.edges.size() < 2) return std::nullopt;
        return steps_;
    }

  private:
    void add(Is is, double level, double edge) {
        if (!steps_.is.empty()) steps_.edges.push_back(edge);
        steps_.is.push_back(is), steps_.levels.push_back(level);
    }
    [[nodiscard]] double width() const { return priors_.foil_px.value_or(1.8); }
    [[nodiscard]] double near_face() const { return 1.5 * steps_.sigma + 2 * width(); }
    [[nodiscard]] double copper_level(const Dip& dip) const { return std::max(0.0, 0.6 * dip.t); }

    void add_dip(const Dip& dip) {
        const double face = crossing_from(calm_, (air_low_ + dip.t) / 2, true);
        const double far_face = crossing_from(calm_, (air_high_ + dip.t) / 2, false);
        const double w = width();
        if (steps_.is.size() == 1 && dip.z - face < near_face() && far_face - dip.z > near_face()) {
            add(Is::copper, copper_level(dip), face);
            add(Is::laminate, laminate_, face + w);
            return;
        }
        if (steps_.is.size() == 1)
            add(Is::laminate, laminate_, crossing_from(calm_, (air_low_ + laminate_) / 2, true));
        if (far_face - dip.z < near_face()) {
            add(Is::copper, copper_level(dip), far_face - w);
            add(Is::air, air_high_, far_face);
            return;
        }
        if (steps_.is.back() == Is::air) return;
        add(Is::copper, copper_level(dip), dip.z - w / 2);
        add(Is::laminate, laminate_, dip.z + w / 2);
    }
    void end() {
        if (steps_.is.size() == 1)
            add(Is::laminate, laminate_, crossing_from(calm_, (air_low_ + laminate_) / 2, true));
        if (steps_.is.back() == Is::laminate)
            add(Is::air, air_high_, crossing_from(calm_, (air_high_ + laminate_) / 2, false));
    }

    const std::vector<Sample>& samples_;
    double low_, high_;
    const StepPriors& priors_;
    std::vector<Sample> calm_;
    Steps steps_;
    double air_low_ = 1, air_high_ = 1, laminate_ = 0.5;
};

/// Shadow of a copper level against the laminate beside it: depth times width.
double area_of(const Steps& s, int j) {
    const auto i = static_cast<std::size_t>(j);
    double around = 0, n = 0;
    for (const std::size_t k : {i - 1, i + 1})
        if (s.is[k] == Is::laminate) around += s.levels[k], n += 1;
    if (n == 0) return 0;
    return (around / n - s.levels[i]) * (s.edges[i] - s.edges[i - 1]);
}

/// u of area_of, misfit counted in.
double area_u(const StepFit& fit, int j) {
    const Steps& s = fit.steps;
    const auto i = static_cast<std::size_t>(j);
    const double width = s.edges[i] - s.edges[i - 1], depth = area_of(s, j) / std::max(width, 1e-6);
    const auto edge = static_cast<Eigen::Index>(i), level = static_cast<Eigen::Index>(s.edges.size() + i);
    Eigen::VectorXd slope = Eigen::VectorXd::Zero(fit.covariance.rows());
    slope[edge - 1] = -depth, slope[edge] = depth, slope[level] = -width;
    return std::sqrt(std::max(0.0, fit.misfit * slope.dot(fit.covariance * slope)));
}

double strongest(const Steps& s) {
    double most = 0;
    for (const int j : s.copper())
        most = std::max(most, area_of(s, j));
    return most;
}

/// Least share of the strongest line's area that copper level j must have: the tails of other lines and of
/// the faces, where blur is not quite a Gaussian, end within five sigma.
double share_worth_naming(const Steps& s, int j) {
    const auto i = static_cast<std::size_t>(j);
    const double clear = 5 * s.sigma;
    const bool before = i < 2 || s.edges[i - 1] - s.edges[i - 2] > clear;
    const bool after = i + 1 >= s.edges.size() || s.edges[i + 1] - s.edges[i] > clear;
    const bool on_face = i < 2 || i + 2 >= s.is.size();
    return before && after && !on_face ? worth_naming_alone : worth_naming;
}

/// Two more edges within level j: `inner` between them. Of a copper level the inner one is laminate.
Steps with_inner(const Steps& s, int j, double from, double to, double inner, double after) {
    Steps out = s;
    const auto at = static_cast<std::ptrdiff_t>(j);
    const Is mine = s.is[static_cast<std::size_t>(j)];
    out.edges.insert(out.edges.begin() + at, {from, to});
    out.levels.insert(out.levels.begin() + at + 1, {inner, after});
    out.is.insert(out.is.begin() + at + 1, {mine == Is::copper ? Is::laminate : Is::copper, mine});
    return out;
}

/// One more edge within a face: copper there.
Steps with_face(const Steps& s, bool low, double width, double share) {
    Steps out = s;
    const double laminate = s.levels[low ? 1 : s.levels.size() - 2];
    if (low) {
        out.edges.insert(out.edges.begin() + 1, s.edges.front() + width);
        out.levels.insert(out.levels.begin() + 1, share * laminate);
        out.is.insert(out.is.begin() + 1, Is::copper);
    } else {
        out.edges.insert(out.edges.end() - 1, s.edges.back() - width);
        out.levels.insert(out.levels.end() - 1, share * laminate);
        out.is.insert(out.is.end() - 1, Is::copper);
    }
    return out;
}

/// Without the thin laminate outside of a face's copper.
Steps without_skin(const Steps& s, bool low) {
    Steps out = s;
    if (low) {
        out.edges.erase(out.edges.begin() + 1);
        out.levels.erase(out.levels.begin() + 1);
        out.is.erase(out.is.begin() + 1);
    } else {
        out.edges.erase(out.edges.end() - 2);
        out.levels.erase(out.levels.end() - 2);
        out.is.erase(out.is.end() - 2);
    }
    return out;
}

/// One more edge outside of a face: mask there.
Steps with_mask(const Steps& s, bool low, double width) {
    Steps out = s;
    const double laminate = s.levels[low ? 2 : s.levels.size() - 3],
                 air = low ? s.levels.front() : s.levels.back();
    if (low) {
        out.edges.insert(out.edges.begin(), s.edges.front() - width);
        out.levels.insert(out.levels.begin() + 1, (laminate + air) / 2);
        out.is.insert(out.is.begin() + 1, Is::mask);
    } else {
        out.edges.push_back(s.edges.back() + width);
        out.levels.insert(out.levels.end() - 1, (laminate + air) / 2);
        out.is.insert(out.is.end() - 1, Is::mask);
    }
    return out;
}

class Search {
  public:
    Search(const std::vector<Sample>& samples, const StepPriors& priors)
        : samples_(samples), priors_(priors) {}

    LayerFit run(const Steps& start) {
        best_ = fit_steps(start, samples_, priors_);
        try_faces();
        try_inside();
        // A face may have been fitted while lines beside it were still missing, and so the other way round.
        const double before = best_.chi2;
        try_faces();
        if (best_.chi2 != before) try_inside();
        LayerFit out{best_, {}, true};
        const double most = strongest(best_.steps);
        for (const int j : best_.steps.copper())
            if (area_of(best_.steps, j) <
                std::max(share_worth_naming(best_.steps, j) * most, sure_from * area_u(best_, j)))
                out.unsure.push_back(j);
        return out;
    }

  private:
    [[nodiscard]] bool better(const StepFit& tried, double parameters) const {
        const double gain = (best_.chi2 - tried.chi2) / tried.misfit;
        return gain > parameters * std::log(static_cast<double>(samples_.size())) + bic_margin;
    }

    void try_faces() {
        for (const bool low : {true, false})
            try_face(low);
        for (const bool low : {true, false})
            try_bare_copper(low);
        for (const bool low : {true, false})
            try_mask(low);
    }

    void try_inside() {
        for (int round = 0; round < 6 && try_lines(); ++round) {
        }
    }

    /// Copper on a face where the profile has no dip of its own: little of it, thin foil or dark laminate.
    void try_face(bool low) {
        const Steps& s = best_.steps;
        if (s.is[low ? 1 : s.is.size() - 2] != Is::laminate) return;
        const double width = priors_.foil_px.value_or(1.8);
        std::optional<StepFit> chosen;
        for (const double share : {0.3, 0.8}) {
            StepFit tried = fit_steps(with_face(s, low, width, share), samples_, priors_);
            if (better(tried, 2) && sensible(tried.steps) && (!chosen || tried.chi2 < chosen->chi2))
                chosen = std::move(tried);
        }
        if (chosen) best_ = std::move(*chosen);
    }

    /// A first guess of a face may leave laminate outside of copper that lies on it: fewer steps that fit as
    /// well are taken. Laminate wider than the blur shows by itself and stays.
    void try_bare_copper(bool low) {
        const Steps& s = best_.steps;
        const std::size_t n = s.is.size();
        if (n < 5 || s.is[low ? 1 : n - 2] != Is::laminate || s.is[low ? 2 : n - 3] != Is::copper) return;
        const double width = low ? s.edges[1] - s.edges[0] : s.edges[n - 2] - s.edges[n - 3];
        if (width > 2 * s.sigma) return;
        StepFit tried = fit_steps(without_skin(s, low), samples_, priors_);
        const double loss = (tried.chi2 - best_.chi2) / best_.misfit;
        if (loss < 2 * std::log(static_cast<double>(samples_.size())) + bic_margin) best_ = std::move(tried);
    }

    /// Solder mask over copper: a thin level outside that lets through no less than the laminate does.
    void try_mask(bool low) {
        const auto& is = best_.steps.is;
        if (is.size() < 4 || is[low ? 1 : is.size() - 2] != Is::copper) return;
        const StepFit tried = fit_steps(with_mask(best_.steps, low, 1), samples_, priors_);
        const Steps& s = tried.steps;
        const std::size_t k = low ? 1 : s.levels.size() - 2, inside = low ? 3 : s.levels.size() - 4;
        const double air = low ? s.levels.front() : s.levels.back();
        const double width = s.edges[k] - s.edges[k - 1];
        const bool sensible = s.levels[k] > 0.8 * s.levels[inside] && s.levels[k] < air - 0.01 && width < 5;
        if (sensible && better(tried, 2)) best_ = tried;
    }

    bool try_lines() {
        std::optional<StepFit> chosen;
        for (int j = 1; j + 1 < count(); ++j) {
            auto tried = one_more(j);
            if (tried && (!chosen || tried->chi2 < chosen->chi2)) chosen = std::move(tried);
        }
        if (chosen) best_ = std::move(*chosen);
        return chosen.has_value();
    }

    [[nodiscard]] int count() const { return static_cast<int>(best_.steps.is.size()); }

    /// A level with two more edges, where that is better and no trifle.
    std::optional<StepFit> one_more(int j) {
        const Steps& s = best_.steps;
        const auto i = static_cast<std::size_t>(j);
        const double from = s.edges[i - 1], to = s.edges[i], width = to - from;
        const bool copper = s.is[i] == Is::copper;
        if (s.is[i] == Is::mask || width < (copper ? 1.2 * s.sigma : 3 * s.sigma)) return std::nullopt;
        const double level = s.levels[i];
        Steps start = s;
        if (copper) {
            const double laminate = s.is[i - 1] == Is::laminate ? s.levels[i - 1] : s.levels[i + 1];
            start = with_inner(s, j, from + 0.4 * width, to - 0.4 * width, laminate, level);
        } else {
            const double clear = 1.2 * s.sigma, half = 0.5; // a face's own copper is tried by try_face
            const double low = from + (j == 1 ? 2 : 1) * clear,
                         high = to - (j + 2 == count() ? 2 : 1) * clear;
            if (high <= low) return std::nullopt;
            const double z = darkest(low, high);
            start = with_inner(s, j, z - half, z + half, 0.8 * level, level);
        }
        StepFit tried = fit_steps(start, samples_, priors_);
        return better(tried, 4) && sensible(tried.steps) ? std::optional(std::move(tried)) : std::nullopt;
    }

    /// Where the profile lies furthest below the fit.
    [[nodiscard]] double darkest(double from, double to) const {
        double most = 1e9, at = (from + to) / 2;
        for (const Sample& s : samples_) {
            if (s.z < from || s.z > to) continue;
            const double off = (s.t - best_.steps.at(s.z)) / s.u;
            if (off < most) most = off, at = s.z;
        }
        return at;
    }

    /// Every line darker than its laminate by more than a trifle, no two nearer than can be told apart.
    [[nodiscard]] static bool sensible(const Steps& s) {
        const double most = strongest(s);
        const auto copper = s.copper();
        for (std::size_t n = 0; n < copper.size(); ++n) {
            const auto i = static_cast<std::size_t>(copper[n]);
            if (area_of(s, copper[n]) < share_worth_naming(s, copper[n]) * most) return false;
            if (n > 0 && s.edges[i - 1] - s.edges[i - 2] < 0.8 * s.sigma) return false;
        }
        return true;
    }

    const std::vector<Sample>& samples_;
    const StepPriors& priors_;
    StepFit best_;
};

} // namespace

LayerFit find_layers(const std::vector<Sample>& samples, double low, double high, const StepPriors& priors) {
    if (samples.size() < 20) return {};
    const auto start = Start(samples, low, high, priors).make();
    return start ? Search(samples, priors).run(*start) : LayerFit{};
}

} // namespace ringwall::stackup
