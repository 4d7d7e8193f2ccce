// SPDX-License-Identifier: Apache-2.0
#include "exposure/edges.hpp"

#include "exposure/edge_fit.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <numeric>
#include <optional>
#include <vector>

namespace ringwall::exposure {
namespace {

struct Slope {
    double x = 0, y = 0;
    [[nodiscard]] double size() const { return std::hypot(x, y); }
    [[nodiscard]] double square() const { return x * x + y * y; }
};

/// Sobel's operator on the block means, in T a block.
Slope slope_at(const Blocks& b, int col, int row) {
    const auto m = [&](int c, int r) { return static_cast<double>(b.mean[b.at(col + c, row + r)]); };
    return {(m(1, -1) + 2 * m(1, 0) + m(1, 1) - m(-1, -1) - 2 * m(-1, 0) - m(-1, 1)) / 8,
            (m(-1, 1) + 2 * m(0, 1) + m(1, 1) - m(-1, -1) - 2 * m(0, -1) - m(1, -1)) / 8};
}

bool touches_open(const Blocks& b, int col, int row) {
    for (int r = row - 1; r <= row + 1; ++r)
        for (int c = col - 1; c <= col + 1; ++c)
            if (b.mean[b.at(c, r)] > 0.97F) return true;
    return false;
}

/// Steepest place of a cell; `at_open`: only next to the open beam.
std::optional<Edge> steepest_in_cell(const Blocks& blocks, int col0, int row0, int cell,
                                     const NoiseModel& noise, bool at_open) {
    Slope best;
    double most = 0, least_square = 0;
    int col = 0, row = 0;
    for (int r = std::max(3, row0); r < std::min(row0 + cell, blocks.rows - 3); ++r)
        for (int c = std::max(3, col0); c < std::min(col0 + cell, blocks.cols - 3); ++c) {
            const Slope slope = slope_at(blocks, c, r);
            // Roots only where squares do not tell.
            if (slope.square() < least_square || slope.size() <= most ||
                touches_open(blocks, c, r) != at_open)
                continue;
            best = slope;
            most = best.size();
            least_square = best.square() * (1 - 1e-9);
            col = c;
            row = r;
        }
    // Sobel's noise: sqrt(12) / 8 of a block mean's, which is a quarter of a pixel's.
    const double sigma = noise.sigma(1) * std::sqrt(noise.correlation) / block_px * 0.433;
    if (best.size() < 6 * sigma + 1e-4) return std::nullopt;
    Edge edge;
    edge.at_px = {(col + 0.5) * block_px - 0.5, (row + 0.5) * block_px - 0.5};
    edge.normal_rad = std::atan2(best.y, best.x);
    return edge;
}

/// One candidate of either kind in every cell of `cell` blocks.
std::vector<Edge> candidates(const Blocks& blocks, const NoiseModel& noise, int cell, std::size_t most) {
    std::vector<Edge> edges;
    for (const bool at_open : {true, false}) {
        const auto put = [&](int row, std::vector<Edge>& list) {
            for (int col = 0; col < blocks.cols; col += cell)
                if (const auto edge = steepest_in_cell(blocks, col, row * cell, cell, noise, at_open))
                    list.push_back(*edge);
        };
        const auto found = joined_rows<Edge>((blocks.rows + cell - 1) / cell, put);
        const std::size_t n = std::min(found.size(), most);
        for (std::size_t i = 0; i < n; ++i)
            edges.push_back(found[i * found.size() / n]);
    }
    return edges;
}

void fit_all(ImageView<const float> t, const NoiseModel& noise, std::vector<Edge>& edges) {
    over_rows(static_cast<int>(edges.size()), [&](int first, int last) {
        for (int i = first; i < last; ++i) {
            Edge& edge = edges[static_cast<std::size_t>(i)];
            if (start_edge(t, noise, edge)) fit_edge(t, noise, edge);
        }
    });
    std::erase_if(edges, [](const Edge& e) { return !e.usable; });
}

double median_of(std::vector<float> values) {
    return values.empty() ? 0 : quantile(values, 0.5);
}

/// Edges whose residual is noise. Where the noise model does not hold (display pictures) the better half
/// stands for clean.
std::vector<Edge> clean(const std::vector<Edge>& edges) {
    std::vector<float> chi2, relative;
    for (const Edge& e : edges) {
        chi2.push_back(static_cast<float>(e.chi2));
        relative.push_back(static_cast<float>(e.relative_residual));
    }
    if (edges.empty()) return {};
    const double usual = std::max(1.0, static_cast<double>(quantile(chi2, 0.1)));
    std::vector<Edge> kept;
    for (const Edge& e : edges)
        if (e.chi2 < 1.25 * usual && std::abs(e.curvature_per_px) < 0.06) kept.push_back(e);
    return kept;
}

struct Width {
    double value = 0;
    double u = 0;
};

/// Weighted median of the widths fitted one by one.
Width first_width(const std::vector<Edge>& edges) {
    std::vector<std::pair<double, double>> by_value;
    double total = 0;
    for (const Edge& e : edges) {
        const double w = 1 / (e.sigma_u_px * e.sigma_u_px + 0.0025 * e.sigma_px * e.sigma_px);
        by_value.emplace_back(e.sigma_px, w);
        total += w;
    }
    std::sort(by_value.begin(), by_value.end());
    double sum = 0;
    for (const auto& [value, w] : by_value)
        if ((sum += w) >= total / 2) return {value, 0};
    return {};
}

/// What one edge says about the shared width, its own five values eliminated (Schur complement).
struct Say {
    double weight = 0;
    double pull = 0;
    /// Mean variance of the edge's fitted line. A line that follows the noise leaves too little of it to the
    /// width: the width comes out smaller by variance / (2 width) (second-order bias of least squares, Box
    /// 1971, JRSS B 33, 171: for Phi(d/s) the second derivative by d is 1/s times the derivative by s).
    double line_variance = 0;
};

Say say_of(ImageView<const float> t, const NoiseModel& noise, Edge& edge, double width) {
    edge.sigma_px = width;
    EdgeEquations equations;
    for (int round = 0; round < 2; ++round) {
        equations = linearise(t, noise, edge);
        const Eigen::Matrix<double, 6, 6> full = equations.matrix.selfadjointView<Eigen::Lower>();
        Eigen::Matrix<double, 6, 1> by = Eigen::Matrix<double, 6, 1>::Zero();
        by.head<5>() = full.topLeftCorner<5, 5>().ldlt().solve(equations.right.head<5>());
        if (!by.allFinite()) return {};
        move_edge(edge, by, true);
    }
    equations = linearise(t, noise, edge);
    const Eigen::Matrix<double, 6, 6> full = equations.matrix.selfadjointView<Eigen::Lower>();
    const Eigen::Matrix<double, 5, 1> across = full.block<5, 1>(0, 5);
    const Eigen::Matrix<double, 5, 5> inverse = full.topLeftCorner<5, 5>().inverse();
    const Eigen::Matrix<double, 5, 1> solved = inverse * across;
    // Means of t^2 and t^4 over the window's width.
    constexpr double w2 = edge_half_width_px * edge_half_width_px, t2 = w2 / 3, t4 = w2 * w2 / 5;
    const double line = inverse(2, 2) + t2 * inverse(3, 3) + t2 * inverse(2, 4) + t4 / 4 * inverse(4, 4);
    return {full(5, 5) - across.dot(solved), equations.right[5] - solved.dot(equations.right.head<5>()),
            line};
}

double tukey(double r) {
    const double t = r / 4.685;
    return std::abs(t) < 1 ? (1 - t * t) * (1 - t * t) : 0;
}

/// Gauss-Newton on the one shared width, Tukey weights.
Width shared_width(ImageView<const float> t, const NoiseModel& noise, std::vector<Edge>& edges,
                   double start) {
    Width width{start, 0};
    std::vector<Say> says(edges.size());
    for (int round = 0; round < 5; ++round) {
        over_rows(static_cast<int>(edges.size()), [&](int first, int last) {
            for (int i = first; i < last; ++i)
                says[static_cast<std::size_t>(i)] =
                    say_of(t, noise, edges[static_cast<std::size_t>(i)], width.value);
        });
        if (!(width.value > 0)) return {};
        double weight = 0, pull = 0, squares = 0, n = 0;
        for (const Say& say : says) {
            // Unsure edges may hide a second step in the noise. Judged at the common width: an edge's own
            // width makes its own uncertainty, and a choice by that would be a choice of wide ones.
            if (!(say.weight > 0) || say.weight * width.value * width.value < 1 / (0.35 * 0.35)) continue;
            const double off = say.pull / say.weight + say.line_variance / (2 * width.value);
            const double sigma =
                std::hypot(1 / std::sqrt(say.weight), 0.02 * width.value); // no edge is surer than 2 %
            const double w = tukey(off / sigma) / (sigma * sigma);
            weight += w;
            pull += w * off;
            squares += w * off * off;
            n += w > 0;
        }
        if (n < 4) return {};
        const double by = pull / weight;
        width.value = std::clamp(width.value + by, 0.7 * width.value, 1.4 * width.value);
        width.u = std::sqrt(std::max(1.0, squares / n) / weight);
    }
    return width;
}

/// Bores and the board's outline are cut in one: single steps. Copper edges of several layers may lie a pixel
/// apart and look like one wider step, so they count only where the others do not suffice.
/// A via's far wall is too near: there must still be open beam 14 to 20 px on.
bool at_open(ImageView<const float> t, const Edge& edge) {
    if (std::abs(edge.dark + edge.step - 1) > 0.02) return false;
    const double c = std::cos(edge.normal_rad), s = std::sin(edge.normal_rad);
    double sum = 0, n = 0;
    for (int d = 14; d <= 20; ++d)
        for (int a = -3; a <= 3; ++a) {
            const auto x = static_cast<int>(std::lround(edge.at_px.x + d * c - a * s));
            const auto y = static_cast<int>(std::lround(edge.at_px.y + d * s + a * c));
            if (!t.contains(x, y)) continue;
            sum += t(x, y);
            n += 1;
        }
    return n > 20 && sum / n > 1 - 0.35 * edge.step;
}

/// Does this many sigmas, mean of n edges, mean a second step?
bool second_step(double sigmas, std::size_t n) {
    return std::abs(sigmas) > 0.7 && std::abs(sigmas) * std::sqrt(static_cast<double>(n)) > 3;
}

/// Single steps only: no barrel's wall and no narrow ring shows beside the edge, neither at one edge nor in
/// the mean of all edges whose dark sides are alike (which are edges of one kind: of holes with the same
/// land, say).
std::vector<Edge> single_steps(ImageView<const float> t, const NoiseModel& noise, std::vector<Edge> edges) {
    constexpr double gap = 0.006, widest = 0.03; // in T, between and within kinds
    std::sort(edges.begin(), edges.end(), [](const Edge& a, const Edge& b) { return a.dark < b.dark; });
    std::vector<Edge> kept;
    for (std::size_t first = 0, end = 0; first < edges.size(); first = end) {
        double sum = 0;
        std::vector<double> sigmas;
        for (end = first; end < edges.size(); ++end) {
            if (end > first &&
                (edges[end].dark - edges[end - 1].dark > gap || edges[end].dark - edges[first].dark > widest))
                break;
            const double z = second_step_sigmas(t, noise, edges[end]);
            sigmas.push_back(z / std::sqrt(std::max(1.0, edges[end].chi2)));
            sum += sigmas.back();
        }
        if (second_step(sum / static_cast<double>(end - first), end - first)) continue;
        for (std::size_t i = first; i < end; ++i)
            if (!second_step(sigmas[i - first], 1)) kept.push_back(edges[i]);
    }
    return kept;
}

struct SingleEdges {
    std::vector<Edge> kept;
    bool some_were_wider = false;
};

/// The narrow edges, as many as scatter by no more than their noise. A ring narrower than the blur makes an
/// edge wider without showing a second step, so where widths differ the wide ones are wrong.
SingleEdges narrowest(std::vector<Edge> edges) {
    constexpr std::size_t fewest = 8;
    if (edges.size() <= fewest) return {std::move(edges), false};
    std::sort(edges.begin(), edges.end(),
              [](const Edge& a, const Edge& b) { return a.sigma_px < b.sigma_px; });
    double w = 0, ws = 0, wss = 0;
    std::size_t keep = 0;
    for (std::size_t i = 0; i < edges.size(); ++i) {
        const double s = edges[i].sigma_px, u = std::hypot(edges[i].sigma_u_px, 0.01 * s),
                     weight = 1 / (u * u);
        w += weight, ws += weight * s, wss += weight * s * s;
        const double chi2 = (wss - ws * ws / w) / std::max<double>(1, static_cast<double>(i));
        if (i < fewest || chi2 < 1.15) keep = i + 1;
    }
    const bool some_were_wider = keep + 4 < edges.size();
    edges.resize(keep);
    return {std::move(edges), some_were_wider};
}

/// What the noise of single edges adds to the shared width's uncertainty. Where wide edges were left out some
/// less wide ones may have stayed, up to a third of what one edge cannot tell; and least squares on weak
/// edges keeps a bias of the order of their relative variance, of which `line_variance` takes out the first
/// part.
double u_of_edges(const SingleEdges& edges, double width) {
    std::vector<float> u;
    for (const Edge& e : edges.kept)
        u.push_back(static_cast<float>(e.sigma_u_px));
    const double usual = median_of(u);
    const double weak = width > 0 ? 0.35 * usual * usual / width : 0;
    return std::hypot(weak, edges.some_were_wider ? 0.3 * usual : 0);
}

EdgeFacts blur_of(ImageView<const float> t, const NoiseModel& noise, const std::vector<Edge>& all) {
    EdgeFacts facts;
    std::vector<Edge> edges = clean(all), open;
    facts.blur_sigma_px = Estimate::missing("too few clean edges in view to measure the blur");
    if (edges.size() < 6) return facts;
    const auto rest =
        std::stable_partition(edges.begin(), edges.end(), [&](const Edge& e) { return at_open(t, e); });
    open = single_steps(t, noise, {edges.begin(), rest});
    edges = single_steps(t, noise, {rest, edges.end()});
    edges.insert(edges.end(), open.begin(), open.end());
    SingleEdges single = narrowest(std::move(open));
    Width width = shared_width(t, noise, single.kept, first_width(single.kept).value);
    width.u = std::hypot(width.u, u_of_edges(single, width.value));
    facts.edges = static_cast<int>(single.kept.size());
    if (width.value <= 0 || width.u > 0.03 * width.value) {
        single = narrowest(std::move(edges));
        const Width with_all = shared_width(t, noise, single.kept, first_width(single.kept).value);
        // Copper edges may mislead by some per cent without showing it.
        const double u = std::hypot(with_all.u, 0.04 * with_all.value, u_of_edges(single, with_all.value));
        if (width.value <= 0 || u < width.u) {
            width = {with_all.value, u};
            facts.edges = static_cast<int>(single.kept.size());
        }
    }
    if (width.value > 0)
        facts.blur_sigma_px = Estimate::of(width.value, std::hypot(width.u, 0.004 * width.value));
    return facts;
}

/// Mean along the edge at distances -12 to 12 px, after the edge's own line.
std::optional<std::array<double, 25>> long_profile(ImageView<const float> t, const Edge& edge) {
    std::array<double, 25> sums{}, counts{};
    const double c = std::cos(edge.normal_rad), s = std::sin(edge.normal_rad);
    const int cx = static_cast<int>(std::lround(edge.at_px.x)),
              cy = static_cast<int>(std::lround(edge.at_px.y));
    if (cx < 16 || cy < 16 || cx >= t.width() - 16 || cy >= t.height() - 16) return std::nullopt;
    for (int y = cy - 15; y <= cy + 15; ++y)
        for (int x = cx - 15; x <= cx + 15; ++x) {
            const double dx = x - edge.at_px.x, dy = y - edge.at_px.y;
            const double across = dy * c - dx * s;
            if (std::abs(across) > 4) continue;
            const double d = dx * c + dy * s - edge.offset_px - 0.5 * edge.curvature_per_px * across * across;
            const long i = std::lround(d) + 12;
            if (i < 0 || i > 24) continue;
            sums[static_cast<std::size_t>(i)] += t(x, y);
            counts[static_cast<std::size_t>(i)] += 1;
        }
    for (std::size_t i = 0; i < 25; ++i) {
        if (counts[i] == 0) return std::nullopt;
        sums[i] /= counts[i];
    }
    return sums;
}

/// Whether level ground lies 8 to 12 px from the edge on both sides, as far apart as the edge's own levels: a
/// strip between two edges is bright beside a far side that is not, and would pass for an overshoot.
bool has_room(const std::array<double, 25>& profile, double step, double noise_mean) {
    const double slack = std::max(0.15 * step, 4 * noise_mean);
    std::array<double, 2> level{};
    for (const std::size_t side : {0U, 1U}) {
        const auto* from = profile.data() + (side == 0 ? 0 : 20);
        const auto [least, most] = std::minmax_element(from, from + 5);
        if (*most - *least > slack) return false;
        level[side] = std::accumulate(from, from + 5, 0.0) / 5;
    }
    return level[1] - level[0] > 0.6 * step;
}

/// Overshoot as a share of the step: highest of 2 to 6 px from the edge against highest of 8 to 12 px, so
/// that noise lifts both alike. `side` +1: bright, -1: dark (lowest instead of highest).
double overshoot(const std::array<double, 25>& profile, int side) {
    double near = -1e9, far = -1e9, far_plain = 0, opposite = 0;
    for (int i = 0; i < 5; ++i) {
        const auto at = [&](int d) { return side * profile[static_cast<std::size_t>(12 + side * d)]; };
        near = std::max(near, at(2 + i));
        far = std::max(far, at(8 + i));
        far_plain += at(8 + i) / 5;
        opposite += side * profile[static_cast<std::size_t>(12 - side * (8 + i))] / 5;
    }
    const double step = far_plain - opposite;
    return step > 0 ? (near - far) / step : 0;
}

void add_halo(ImageView<const float> t, const NoiseModel& noise, const std::vector<Edge>& edges,
              bool saturated, EdgeFacts& facts) {
    std::vector<float> overshoots;
    for (const Edge& edge : edges) {
        const double sigma = noise.sigma(edge.dark + edge.step) * std::sqrt(noise.correlation) / 3;
        if (edge.step < 8 * sigma) continue;
        const bool bright_is_open = edge.dark + edge.step > 0.93;
        if (saturated && bright_is_open && std::abs(edge.curvature_per_px) > 0.004) continue;
        if (const auto profile = long_profile(t, edge); profile && has_room(*profile, edge.step, sigma))
            overshoots.push_back(
                static_cast<float>(overshoot(*profile, saturated && bright_is_open ? -1 : 1)));
    }
    facts.halo_edges = static_cast<int>(overshoots.size());
    if (overshoots.size() < 8) return;
    const double middle = median_of(overshoots);
    std::vector<float> off;
    off.reserve(overshoots.size());
    for (const float o : overshoots)
        off.push_back(static_cast<float>(std::abs(o - middle)));
    facts.halo_u = 1.25 * 1.4826 * median_of(off) / std::sqrt(static_cast<double>(overshoots.size()));
    facts.halo = std::max(0.0, middle);
}

} // namespace

EdgeFacts measure_edges(ImageView<const float> t, const Blocks& blocks, const NoiseModel& noise,
                        bool saturated) {
    std::vector<Edge> edges = candidates(blocks, noise, 10, 400);
    fit_all(t, noise, edges);
    EdgeFacts facts = blur_of(t, noise, edges);
    if (!facts.blur_sigma_px || facts.blur_sigma_px.u() > 0.012 * facts.blur_sigma_px.value()) {
        edges = candidates(blocks, noise, 4, 1500); // weak edges: take all there are
        fit_all(t, noise, edges);
        facts = blur_of(t, noise, edges);
    }
    add_halo(t, noise, edges, saturated, facts);
    return facts;
}

} // namespace ringwall::exposure
