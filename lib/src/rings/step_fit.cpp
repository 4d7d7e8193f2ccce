// SPDX-License-Identifier: Apache-2.0
#include "rings/step_fit.hpp"

#include "core/wide.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <optional>

namespace ringwall::rings {
namespace {

constexpr int most_edges = 5;
constexpr int most_parameters = 48;

using EdgeValues = std::array<EdgeValue, edge_table::cells + 2>;

EdgeValues make_table() {
    EdgeValues table{};
    for (std::size_t i = 0; i < table.size(); ++i) {
        const double z =
            -edge_table::reach + 2 * edge_table::reach * static_cast<double>(i) / edge_table::cells;
        table[i] = {0.5 * std::erfc(-z / std::numbers::sqrt2),
                    std::exp(-0.5 * z * z) / std::sqrt(2 * std::numbers::pi)};
    }
    return table;
}

/// Value and derivatives of the model at one pixel.
struct Prediction {
    double t = 0;
    std::array<double, most_parameters> slope{};
};

/// A pixel seen from a contour's own centre, for both of what plain circles are asked.
struct FromCentre {
    double dx, dy, distance;
    FromCentre(const Contour& c, const FitPixel& p)
        : dx(static_cast<double>(p.x) - c.cx), dy(static_cast<double>(p.y) - c.cy),
          distance(std::sqrt(dx * dx + dy * dy)) {}
};

bool plain_circle(const Contour& c) {
    return c.sides == 0 && c.order == 1;
}

double outside_of(const Contour& c, const FitPixel& p, const FromCentre& seen) {
    return plain_circle(c) ? seen.distance - c.r50 : c.outside(p.x, p.y);
}

void add_contour_slopes(const StepModel& m, int contour, const FitPixel& p, const FromCentre& seen,
                        double gain, Prediction& out) {
    const Contour& c = m.contours[static_cast<std::size_t>(contour)];
    double* slope = out.slope.data() + m.contour_index(contour);
    if (plain_circle(c)) {
        const double d = std::max(seen.distance, 1e-9);
        slope[0] = seen.dx / d * -gain;
        slope[1] = seen.dy / d * -gain;
        slope[2] = -gain;
        return;
    }
    c.slopes(p.x, p.y, slope);
    for (int k = 0; k < c.parameters(); ++k)
        slope[k] *= -gain;
}

void predict(const StepModel& m, const FitPixel& p, Prediction& out) {
    const int edges = m.edges();
    auto inner = static_cast<std::size_t>(m.level_at(0, p.ray));
    out.t = m.level[inner];
    std::fill_n(out.slope.begin(), m.parameters(), 0.0);
    out.slope[inner] = 1;
    const double inverse_blur = 1 / m.blur_px;
    double last_wall = 1e9, along_x = 0, along_y = 0;
    if (m.walls > 0) {
        const double x = static_cast<double>(p.x), y = static_cast<double>(p.y);
        const double inverse_rho = 1 / std::max(std::sqrt(x * x + y * y), 1e-6);
        along_x = x * inverse_rho;
        along_y = y * inverse_rho;
    }
    const auto shift_at = static_cast<std::size_t>(m.shift_index());
    for (int e = 0; e < edges; ++e) {
        const auto at = static_cast<std::size_t>(e);
        const bool is_wall = e < m.walls;
        double outside;
        bool clipped = false;
        std::optional<FromCentre> seen;
        if (is_wall) {
            outside = static_cast<double>(p.wall[at]) - m.wall_shift_px - along_x * m.wall_x_px -
                      along_y * m.wall_y_px;
            last_wall = outside;
        } else {
            const Contour& contour = m.contours[static_cast<std::size_t>(e - m.walls)];
            seen.emplace(contour, p);
            outside = outside_of(contour, p, *seen);
            clipped = outside > last_wall; // copper cannot stand in the air
            if (clipped) outside = last_wall;
        }
        const double z = outside * inverse_blur;
        const EdgeValue edge = blurred_edge(z);
        const auto outer = static_cast<std::size_t>(m.level_at(e + 1, p.ray));
        const double step = m.level[outer] - m.level[inner];
        out.t += step * edge.cdf;
        out.slope[inner] -= edge.cdf;
        out.slope[outer] += edge.cdf;
        inner = outer;
        const double gain = step * edge.pdf * inverse_blur; // dT per px that the pixel moves outward
        out.slope[static_cast<std::size_t>(m.blur_index())] -= gain * z;
        if (is_wall || clipped) {
            out.slope[shift_at] -= gain;
            out.slope[shift_at + 1] -= gain * along_x;
            out.slope[shift_at + 2] -= gain * along_y;
        } else {
            add_contour_slopes(m, e - m.walls, p, *seen, gain, out);
        }
    }
}

struct Normal {
    Eigen::MatrixXd information;
    Eigen::VectorXd pull;
    double cost = 0;
};

void add_prior(const StepModel& m, const StepModel& start, const StepPrior& prior, Normal& normal) {
    const auto add = [&](int index, double value, double expected, double u) {
        const double w = 1 / (u * u), r = expected - value;
        normal.information(index, index) += w;
        normal.pull(index) += w * r;
        normal.cost += w * r * r;
    };
    for (int l = 0; l < m.level_count(); ++l) {
        const auto at = static_cast<std::size_t>(l);
        add(l, m.level[at], prior.level[at], prior.level_u[at]);
    }
    add(m.blur_index(), m.blur_px, prior.blur_px, prior.blur_u_px);
    add(m.shift_index(), m.wall_shift_px, 0, prior.wall_shift_u_px);
    add(m.shift_index() + 1, m.wall_x_px, 0, prior.wall_centre_u_px);
    add(m.shift_index() + 2, m.wall_y_px, 0, prior.wall_centre_u_px);
    for (int c = 0; c < static_cast<int>(m.contours.size()); ++c) {
        const Contour &now = m.contours[static_cast<std::size_t>(c)],
                      &then = start.contours[static_cast<std::size_t>(c)];
        const int base = m.contour_index(c);
        add(base, now.cx, then.cx, prior.contour_u_px);
        add(base + 1, now.cy, then.cy, prior.contour_u_px);
        add(base + 2, now.r50, then.r50, prior.contour_u_px);
        if (now.sides > 0) add(base + 3, now.turn, then.turn, 0.3);
        for (int h = 0; h < now.parameters() - 3 && now.sides == 0; ++h)
            add(base + 3 + h, now.harmonic[static_cast<std::size_t>(h)], 0, prior.contour_u_px / 10);
    }
}

/// Lower triangle of n x n, column by column.
RINGWALL_WIDE void add_pixel(const double* slope, int n, double weight, double pull, double* information,
                             double* right) {
    for (int i = 0; i < n; ++i) {
        if (slope[i] == 0) continue;
        right[i] += pull * slope[i];
        const double weighted = weight * slope[i];
        double* column = information + static_cast<std::ptrdiff_t>(i) * n;
        for (int j = i; j < n; ++j)
            column[j] += weighted * slope[j];
    }
}

Normal build_normal(const StepModel& m, const StepModel& start, const StepPrior& prior,
                    std::span<const FitPixel> pixels, const NoiseModel& noise, bool with_matrix) {
    const int n = m.parameters();
    assert(n <= most_parameters && m.edges() <= most_edges);
    Normal normal{Eigen::MatrixXd::Zero(n, n), Eigen::VectorXd::Zero(n), 0};
    Prediction at;
    for (const FitPixel& p : pixels) {
        predict(m, p, at);
        const double sigma = noise.sigma(std::max(at.t, 1e-3));
        const double residual = (static_cast<double>(p.t) - at.t) / sigma;
        const double size = std::abs(residual);
        const double huber = size <= 4 ? 1 : 4 / size;
        normal.cost += size <= 4 ? residual * residual : 8 * size - 16;
        if (!with_matrix) continue;
        const double w = huber / (sigma * sigma);
        const double pull = w * (static_cast<double>(p.t) - at.t);
        add_pixel(at.slope.data(), n, w, pull, normal.information.data(), normal.pull.data());
    }
    if (with_matrix)
        normal.information.triangularView<Eigen::StrictlyUpper>() = normal.information.transpose();
    add_prior(m, start, prior, normal);
    return normal;
}

StepModel moved(const StepModel& m, const Eigen::VectorXd& step) {
    StepModel out = m;
    for (int l = 0; l < m.level_count(); ++l)
        out.level[static_cast<std::size_t>(l)] += step(l);
    out.blur_px = std::clamp(m.blur_px + step(m.blur_index()), 0.3 * m.blur_px, 3 * m.blur_px);
    out.wall_shift_px += step(m.shift_index());
    out.wall_x_px += step(m.shift_index() + 1);
    out.wall_y_px += step(m.shift_index() + 2);
    for (int c = 0; c < static_cast<int>(m.contours.size()); ++c) {
        Contour& contour = out.contours[static_cast<std::size_t>(c)];
        const int base = m.contour_index(c);
        contour.cx += step(base);
        contour.cy += step(base + 1);
        contour.r50 = std::max(0.5, contour.r50 + step(base + 2));
        if (contour.sides > 0) contour.turn += std::clamp(step(base + 3), -0.1, 0.1);
        for (int h = 0; h < contour.parameters() - 3 && contour.sides == 0; ++h)
            contour.harmonic[static_cast<std::size_t>(h)] += step(base + 3 + h);
    }
    return out;
}

} // namespace

const EdgeValues edge_table::values = make_table();

double true_radius(double r50, double blur_px) {
    return std::sqrt(r50 * r50 + blur_px * blur_px);
}

double half_height_radius(double radius_px, double blur_px) {
    return std::sqrt(std::max(radius_px * radius_px - blur_px * blur_px, 0.01));
}

namespace {

/// The side of a polygon nearest to a point: its normal.
Point nearest_side(const Contour& c, double dx, double dy) {
    const double part = 2 * std::numbers::pi / c.sides;
    const double angle = c.turn + part * std::round((std::atan2(dy, dx) - c.turn) / part);
    return {std::cos(angle), std::sin(angle)};
}

} // namespace

bool Contour::near_corner(double x, double y, double reach_px) const {
    if (sides == 0) return false;
    const double dx = x - cx, dy = y - cy;
    const double part = 2 * std::numbers::pi / sides;
    const double at = (std::atan2(dy, dx) - turn) / part, nearest = std::round(at);
    const double other = turn + part * (at > nearest ? nearest + 1 : nearest - 1);
    return std::cos(other) * dx + std::sin(other) * dy - r50 > -reach_px;
}

double Contour::outside(double x, double y) const {
    const double dx = x - cx, dy = y - cy;
    if (sides > 0) {
        const Point n = nearest_side(*this, dx, dy);
        return n.x * dx + n.y * dy - r50;
    }
    const double d = std::sqrt(dx * dx + dy * dy);
    double r = r50;
    if (order > 1 && d > 0) {
        const double c1 = dx / d, s1 = dy / d;
        double c = c1, s = s1;
        for (int k = 2; k <= order; ++k) {
            const double next = c * c1 - s * s1;
            s = s * c1 + c * s1;
            c = next;
            const auto at = static_cast<std::size_t>(2 * (k - 2));
            r += harmonic[at] * c + harmonic[at + 1] * s;
        }
    }
    return d - r;
}

void Contour::slopes(double x, double y, double* out) const {
    const double dx = x - cx, dy = y - cy;
    if (sides > 0) {
        const Point n = nearest_side(*this, dx, dy);
        out[0] = n.x;
        out[1] = n.y;
        out[2] = 1;
        out[3] = n.y * dx - n.x * dy;
        return;
    }
    const double d = std::max(std::sqrt(dx * dx + dy * dy), 1e-9);
    const double c1 = dx / d, s1 = dy / d;
    out[0] = c1;
    out[1] = s1;
    out[2] = 1;
    double c = c1, s = s1;
    for (int k = 2; k <= order; ++k) {
        const double next = c * c1 - s * s1;
        s = s * c1 + c * s1;
        c = next;
        out[3 + 2 * (k - 2)] = c;
        out[4 + 2 * (k - 2)] = s;
    }
}

double Contour::along(Point direction) const {
    if (sides > 0) {
        double nearest = 1e9;
        for (int k = 0; k < sides; ++k) {
            const double angle = turn + 2 * std::numbers::pi * k / sides;
            const Point n{std::cos(angle), std::sin(angle)};
            const double facing = n.x * direction.x + n.y * direction.y;
            if (facing > 1e-6) nearest = std::min(nearest, (r50 + n.x * cx + n.y * cy) / facing);
        }
        return std::max(nearest, 0.0);
    }
    double rho = std::max(r50 + cx * direction.x + cy * direction.y, 0.0);
    for (int i = 0; i < 8; ++i) {
        const double x = rho * direction.x, y = rho * direction.y;
        const double dx = x - cx, dy = y - cy;
        const double d = std::sqrt(dx * dx + dy * dy);
        const double rate = d > 0 ? (dx * direction.x + dy * direction.y) / d : 1;
        const double step = -outside(x, y) / (std::abs(rate) > 0.2 ? rate : (rate < 0 ? -0.2 : 0.2));
        rho = std::max(rho + step, 0.0);
        if (std::abs(step) < 1e-9) break;
    }
    return rho;
}

int StepModel::contour_index(int contour) const {
    int at = shift_index() + 3;
    for (int c = 0; c < contour; ++c)
        at += contours[static_cast<std::size_t>(c)].parameters();
    return at;
}

StepFit fit_steps(const StepModel& start, const StepPrior& prior, std::span<const FitPixel> pixels,
                  const NoiseModel& noise) {
    StepFit fit;
    fit.model = start;
    fit.pixels = static_cast<int>(pixels.size());
    const int n = start.parameters();
    if (fit.pixels < n || n > most_parameters || start.edges() > most_edges) return fit;
    double damping = 1e-4;
    Normal normal = build_normal(fit.model, start, prior, pixels, noise, true);
    for (int iteration = 0; iteration < 12; ++iteration) {
        Eigen::MatrixXd damped = normal.information;
        damped.diagonal() *= 1 + damping;
        const Eigen::VectorXd step = damped.ldlt().solve(normal.pull);
        if (!step.allFinite()) return fit;
        const StepModel next = moved(fit.model, step);
        const double predicted = step.dot(normal.pull); // about twice the expected fall of chi-square / 2
        Normal after = build_normal(next, start, prior, pixels, noise, true);
        if (after.cost > normal.cost + 1e-9) {
            damping = damping * 10;
            if (damping > 1e6) break;
            continue;
        }
        fit.model = next;
        normal = std::move(after);
        damping = std::max(damping * 0.1, 1e-9);
        if (predicted < 1e-3) break; // a hundredth of a standard deviation at most is left
    }
    const double freedom = std::max(1.0, static_cast<double>(fit.pixels - n));
    fit.chi2 = normal.cost / freedom;
    fit.information = normal.information;
    fit.covariance = normal.information.ldlt().solve(Eigen::MatrixXd::Identity(n, n)) *
                     std::max(1.0, fit.chi2) * std::max(1.0, noise.correlation);
    fit.ok = fit.covariance.allFinite();
    return fit;
}

std::vector<RayScore> ray_scores(const StepModel& model, int contour, std::span<const FitPixel> pixels,
                                 const NoiseModel& noise) {
    std::vector<RayScore> scores(rays);
    const auto radius_at = static_cast<std::size_t>(model.contour_index(contour) + 2);
    Prediction at;
    for (const FitPixel& p : pixels) {
        predict(model, p, at);
        const double slope = at.slope[radius_at];
        const double variance = noise.sigma(at.t) * noise.sigma(at.t);
        RayScore& score = scores[static_cast<std::size_t>(p.ray)];
        score.push += slope * (static_cast<double>(p.t) - at.t) / variance;
        score.weight += slope * slope / variance;
    }
    return scores;
}

} // namespace ringwall::rings
