// SPDX-License-Identifier: Apache-2.0
#include "stackup/smear.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::stackup {
namespace {

struct Line {
    double z, width, u, attenuation;
    bool outer;
};

double laminate_beside(const Steps& s, std::size_t i) {
    double most = 0.01;
    for (const std::size_t k : {i - 1, i + 1})
        if (s.is[k] == Steps::Is::laminate) most = std::max(most, s.levels[k]);
    return most;
}

std::vector<Line> lines_of(const Steps& s, const Eigen::MatrixXd& covariance) {
    std::vector<Line> list;
    for (const int j : s.copper()) {
        const auto i = static_cast<std::size_t>(j);
        const double width = s.edges[i] - s.edges[i - 1], laminate = laminate_beside(s, i);
        const auto a = static_cast<Eigen::Index>(i - 1), b = static_cast<Eigen::Index>(i);
        const double var = covariance(a, a) + covariance(b, b) - 2 * covariance(a, b);
        const double p = std::log(laminate / std::max(s.levels[i], 1e-3));
        const bool outer = s.is[i - 1] != Steps::Is::laminate || s.is[i + 1] != Steps::Is::laminate;
        list.push_back({(s.edges[i] + s.edges[i - 1]) / 2, width, std::sqrt(std::max(var, 1e-8)), p, outer});
    }
    return list;
}

/// Lines that a beam askew widens, and how surely.
struct Telling {
    std::vector<Line> lines;
    double u_share = 0; ///< of the widening: what the lines' own faintness leaves open
};

/// Inner foils are not plated up; a board without them is judged by its outer ones. Where the beam passes
/// several foils' thickness across, no ray stays in a foil for long: then the darkest lines have to do.
Telling telling(const std::vector<Line>& lines) {
    constexpr double opaque = 2, u_faint = 0.3;
    Telling out;
    double darkest = 0;
    for (const Line& line : lines) {
        darkest = std::max(darkest, line.attenuation);
        if (!line.outer && line.attenuation > opaque) out.lines.push_back(line);
    }
    const double least = std::min(opaque, 0.7 * darkest);
    if (out.lines.empty())
        for (const Line& line : lines)
            if (line.attenuation > least) out.lines.push_back(line);
    out.u_share = darkest > opaque ? 0 : u_faint;
    return out;
}

/// a of e(z) = share |a + b z| that fits the widths best; of two equal ones that nearer to 0.
double best_tilt(const std::vector<Line>& lines, double foil, double share, double b, double axis) {
    double best = 0, least = 1e300;
    for (int k = 0; k <= 2400; ++k) {
        const int strides = (k % 2 == 0 ? 1 : -1) * (k / 2);
        const double a = 0.005 * strides;
        double sum = 0;
        for (const Line& line : lines) {
            const double off = line.width - foil - share * std::abs(a + b * (line.z - axis));
            sum += off * off;
        }
        if (sum < least - 1e-9) least = sum, best = a;
    }
    return best;
}

/// How far copper on a face is wider than inner planes under the same beam.
double excess_of(const Line& outer, const std::vector<Line>& inner, double share, double a, double b,
                 double axis) {
    constexpr double least = 0.1, sure = 2.5;
    const auto own = [&](const Line& line) { return line.width - share * std::abs(a + b * (line.z - axis)); };
    double usual = 0, var = 0;
    const auto n = static_cast<double>(inner.size());
    for (const Line& line : inner)
        usual += own(line) / n, var += line.u * line.u / (n * n);
    const double excess = own(outer) - usual;
    if (outer.attenuation < 1) return 0; // a faint line's width says nothing
    return excess > least + sure * std::hypot(outer.u, std::sqrt(var)) ? excess : 0;
}

struct Foil {
    double px, u;
    bool stated;
};

Foil foil_for(const std::vector<Line>& lines, const EdgeOptions& options) {
    if (options.foil_px) return {*options.foil_px, 0.1 * *options.foil_px, true};
    double narrowest = 1e9;
    for (const Line& line : lines)
        narrowest = std::min(narrowest, line.width);
    if (options.usual_foils_px.empty())
        return {narrowest, narrowest / 2, false}; // no scale: nothing to tell by
    double chosen = options.thinnest_foil_px, next = 0;
    for (const double usual : options.usual_foils_px)
        if (0.8 * usual <= narrowest) next = chosen, chosen = usual;
    return {std::min(chosen, narrowest), std::hypot(0.1 * chosen, (chosen - next) / 2), false};
}

} // namespace

double ramp_mean(double p) {
    if (p < 1e-3) return 0.5 - p / 12;
    return 1 / p - std::exp(-p) / (1 - std::exp(-p));
}

Smear smear_of(const Steps& steps, const Eigen::MatrixXd& covariance, const EdgeOptions& options,
               std::optional<double> axis_across) {
    Smear out;
    const std::vector<Line> lines = lines_of(steps, covariance);
    const auto [used, u_share] = telling(lines);
    if (used.empty()) { // no copper, nothing that tells: a pixel is as likely as none
        out.u_px = 0.5;
        return out;
    }
    const Foil foil = foil_for(used, options);
    out.foil_known = foil.stated;
    const double middle = (steps.edges.front() + steps.edges.back()) / 2;
    const double axis = axis_across.value_or(middle), b = options.depth_over_distance.value_or(0);
    // Over the same depth copper weakens some ten times as laminate does, whatever the beam.
    double laminate = 0.01;
    for (std::size_t k = 0; k < steps.is.size(); ++k)
        if (steps.is[k] == Steps::Is::laminate) laminate = std::max(laminate, steps.levels[k]);
    const double share = 1 - 2 * ramp_mean(std::max(1.0, -10 * std::log(std::min(laminate, 0.99))));
    const double a = best_tilt(used, foil.px, share, b, axis);
    double u_width = 0;
    for (const Line& line : used)
        u_width += line.u * line.u;
    u_width = std::sqrt(u_width) / static_cast<double>(used.size());
    for (const double face : {steps.edges.front(), steps.edges.back()})
        out.outer_px += std::abs(a + b * (face - axis)) / 2;
    out.widened_px = share * out.outer_px;
    if (!used.front().outer) {
        if (lines.front().outer) out.excess_px[0] = excess_of(lines.front(), used, share, a, b, axis);
        if (lines.back().outer) out.excess_px[1] = excess_of(lines.back(), used, share, a, b, axis);
    }
    double u = std::hypot(foil.u, u_width);
    if (foil.stated && out.outer_px < u) u *= 0.6; // a smear is never below 0: half of a normal distribution
    // Distances not stated: a cone smears the faces up to twice as much as the layers it was read from.
    const double perspective = options.depth_over_distance ? 0.05 : 0.2;
    out.u_px = std::hypot(u, std::hypot(perspective, u_share) * out.widened_px);
    return out;
}

} // namespace ringwall::stackup
