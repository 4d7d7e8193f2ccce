// SPDX-License-Identifier: Apache-2.0
#include "exposure/background.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::exposure {
namespace {

constexpr int most_terms = 14; // order 4 without the constant

int terms(int order) {
    return (order + 1) * (order + 2) / 2 - 1;
}

/// Terms in order of their degree, so that a lower order is a head of a higher one.
void basis(int order, double x, double y, double* out) {
    std::array<double, 5> px{}, py{};
    px[0] = py[0] = 1;
    px[1] = x;
    py[1] = y;
    for (std::size_t n = 1; n < 4; ++n) {
        const auto k = static_cast<double>(n);
        px[n + 1] = ((2 * k + 1) * x * px[n] - k * px[n - 1]) / (k + 1);
        py[n + 1] = ((2 * k + 1) * y * py[n] - k * py[n - 1]) / (k + 1);
    }
    for (int degree = 1; degree <= order; ++degree)
        for (int i = 0; i <= degree; ++i)
            *out++ = px[static_cast<std::size_t>(degree - i)] * py[static_cast<std::size_t>(i)];
}

double tukey(double r) {
    const double t = r / 4.685;
    return std::abs(t) < 1 ? (1 - t * t) * (1 - t * t) : 0;
}

/// Normal equations that grow by one row at a time.
struct Equations {
    Eigen::MatrixXd matrix;
    Eigen::VectorXd right;
    explicit Equations(int n) : matrix(Eigen::MatrixXd::Zero(n, n)), right(Eigen::VectorXd::Zero(n)) {}
    void add(const Eigen::VectorXd& row, double value, double weight) {
        matrix.selfadjointView<Eigen::Lower>().rankUpdate(row, weight);
        right += weight * value * row;
    }
    /// Weak pull of the surface's terms towards zero: it only speaks where the picture says nothing.
    void pull(int order) {
        int term = 0;
        for (int degree = 1; degree <= order; ++degree)
            for (int i = 0; i <= degree; ++i, ++term) {
                const double usual = degree <= 1 ? 0.3 : degree == 2 ? 0.1 : 0.02;
                matrix(term, term) += 1 / (usual * usual);
            }
    }
    [[nodiscard]] Eigen::VectorXd solve() const {
        const Eigen::MatrixXd full = matrix.selfadjointView<Eigen::Lower>();
        return full.ldlt().solve(right);
    }
};

struct Spot {
    double x = 0, y = 0;
    double value = 0; ///< ln of the mean
    double sigma = 0;
    int col = 0, row = 0;
};

struct Pair {
    int first = 0, second = 0;
};

std::vector<Spot> usable(const FlatSpots& flat, const NoiseLine& noise, double brightest) {
    std::vector<Spot> spots;
    for (const FlatSpot& s : flat.spots) {
        if (s.mean < 0.03 * brightest) continue; // the log of next to nothing
        Spot spot;
        spot.x = s.x;
        spot.y = s.y;
        spot.value = std::log(s.mean);
        spot.sigma = std::max(2e-5, log_sigma(noise, s.mean, flat.pixels, flat.correlation));
        if (spot.sigma > 0.1) continue; // noise alone
        spot.col = s.col;
        spot.row = s.row;
        spots.push_back(spot);
    }
    return spots;
}

/// Neighbours 3 and 9 blocks to the right and below, both flat.
std::vector<Pair> make_pairs(const Blocks& blocks, const std::vector<Spot>& spots) {
    std::vector<int> index(blocks.size(), -1);
    for (std::size_t i = 0; i < spots.size(); ++i)
        index[blocks.at(spots[i].col, spots[i].row)] = static_cast<int>(i);
    std::vector<Pair> pairs;
    for (std::size_t i = 0; i < spots.size(); ++i)
        for (const int lag : {3, 9})
            for (const bool down : {false, true}) {
                const int col = spots[i].col + (down ? 0 : lag), row = spots[i].row + (down ? lag : 0);
                if (col >= blocks.cols || row >= blocks.rows) continue;
                const int other = index[blocks.at(col, row)];
                if (other >= 0) pairs.push_back({static_cast<int>(i), other});
            }
    return pairs;
}

Surface surface_from_slopes(const std::vector<Spot>& spots, const std::vector<Pair>& pairs, int order) {
    Surface surface;
    surface.order = order;
    surface.weights.assign(static_cast<std::size_t>(terms(order)), 0);
    const int n = terms(order);
    Eigen::VectorXd a(n), b(n);
    for (int round = 0; round < 6; ++round) {
        Equations equations(n);
        equations.pull(order);
        for (const Pair& pair : pairs) {
            const Spot &p = spots[static_cast<std::size_t>(pair.first)],
                       &q = spots[static_cast<std::size_t>(pair.second)];
            basis(order, p.x, p.y, a.data());
            basis(order, q.x, q.y, b.data());
            const double sigma = std::hypot(p.sigma, q.sigma), difference = q.value - p.value;
            double fitted = 0;
            for (int k = 0; k < n; ++k)
                fitted += surface.weights[static_cast<std::size_t>(k)] * (b[k] - a[k]);
            // The first rounds see the whole heel in the residual: let them look wider.
            const double width = round < 2 ? 2 : 1;
            const double w = tukey((difference - fitted) / (width * sigma)) / (sigma * sigma);
            if (w > 0) equations.add(b - a, difference, w);
        }
        const Eigen::VectorXd x = equations.solve();
        for (int k = 0; k < n; ++k)
            surface.weights[static_cast<std::size_t>(k)] = x[k];
    }
    return surface;
}

std::vector<LogSample> flattened(const std::vector<Spot>& spots, const Surface& surface) {
    std::vector<LogSample> samples;
    samples.reserve(spots.size());
    for (const Spot& s : spots)
        samples.push_back({s.value - surface.at(s.x, s.y), s.sigma});
    return samples;
}

/// One least-squares fit of surface and offsets with the classes held; returns the levels it moved.
void fit_with_levels(const std::vector<Spot>& spots, Surface& surface, std::vector<LogLevel>& levels,
                     double scale) {
    const int n = terms(surface.order), k = static_cast<int>(levels.size());
    Equations equations(n + k);
    equations.pull(surface.order);
    Eigen::VectorXd row(n + k);
    for (const Spot& s : spots) {
        const double flat = s.value - surface.at(s.x, s.y);
        const int level = nearest_level(levels, flat);
        const double sigma = std::max(s.sigma, 1e-4) * scale;
        const double w =
            tukey((flat - levels[static_cast<std::size_t>(level)].value) / sigma) / (sigma * sigma);
        if (w == 0) continue;
        row.setZero();
        basis(surface.order, s.x, s.y, row.data());
        row[n + level] = 1;
        equations.add(row, s.value, w);
    }
    for (int j = 0; j < k; ++j) {
        equations.matrix(n + j, n + j) += 1e-6;
        equations.right[n + j] += 1e-6 * levels[static_cast<std::size_t>(j)].value;
    }
    const Eigen::VectorXd x = equations.solve();
    for (int j = 0; j < n; ++j)
        surface.weights[static_cast<std::size_t>(j)] = x[j];
    for (int j = 0; j < k; ++j)
        levels[static_cast<std::size_t>(j)].value = x[n + j];
}

/// Scatter about the nearest level over its noise, of the better half of the spots times 1.48: 1 when all is
/// explained.
double misfit(const std::vector<Spot>& spots, const Surface& surface, const std::vector<LogLevel>& levels) {
    std::vector<float> r;
    for (const Spot& s : spots) {
        const double flat = s.value - surface.at(s.x, s.y);
        const int level = nearest_level(levels, flat);
        if (level >= 0)
            r.push_back(
                static_cast<float>(std::abs(flat - levels[static_cast<std::size_t>(level)].value) / s.sigma));
    }
    return r.empty() ? 1 : quantile(r, 0.5) * 1.4826;
}

struct Fit {
    Surface surface;
    std::vector<LogLevel> levels;
    double misfit = 1;
};

Fit rounds(const std::vector<Spot>& spots, Surface surface, int count) {
    Fit fit{std::move(surface), {}, 1};
    for (int round = 0; round < count; ++round) {
        fit.levels = find_levels(flattened(spots, fit.surface), 2e-4, 12);
        if (fit.levels.empty()) break;
        const double scale = std::clamp(misfit(spots, fit.surface, fit.levels), 1.0, 3.0);
        fit_with_levels(spots, fit.surface, fit.levels, scale);
        fit_with_levels(spots, fit.surface, fit.levels, scale);
    }
    fit.levels = find_levels(flattened(spots, fit.surface), 2e-4, 12);
    fit.misfit = misfit(spots, fit.surface, fit.levels);
    return fit;
}

Surface raised(const Surface& surface, int order) {
    Surface higher = surface;
    higher.order = order;
    higher.weights.resize(static_cast<std::size_t>(terms(order)), 0);
    return higher;
}

/// Single blocks as samples: bores too narrow for a flat spot still hold whole blocks of open beam.
std::vector<LogSample> block_samples(const Blocks& blocks, const Surface& surface, const NoiseLine& noise,
                                     double correlation, double brightest) {
    const Frame frame(blocks.cols * block_px, blocks.rows * block_px);
    std::vector<LogSample> samples;
    for (int row = 0; row < blocks.rows; ++row)
        for (int col = 0; col < blocks.cols; ++col) {
            const std::size_t i = blocks.at(col, row);
            const double mean = blocks.mean[i];
            if (mean < 0.3 * brightest) continue;
            const double expected = noise.variance(mean);
            // 15 degrees of freedom: 2.2 passes 99.5 %; noise-free blocks are burned-in marks.
            if (noise.bins > 0 &&
                (blocks.variance[i] > 2.2 * expected || blocks.variance[i] < 0.15 * expected))
                continue;
            const double x = frame.x((col + 0.5) * block_px - 0.5), y = frame.y((row + 0.5) * block_px - 0.5);
            samples.push_back({std::log(mean) - surface.at(x, y),
                               std::max(2e-5, log_sigma(noise, mean, block_px * block_px, correlation))});
        }
    return samples;
}

/// The brightest level that stands out, among flat spots or single blocks.
void set_open(Background& background, const Fit& fit, const std::vector<LogSample>& blocks) {
    const std::vector<LogLevel> fine = find_levels(blocks, 2e-4, 6);
    const double least = -1e9;
    const double coarse = fit.levels.empty() ? least : fit.levels.front().value;
    const double narrow = fine.empty() ? least : fine.front().value;
    background.open_is_narrow = narrow > coarse + 0.02;
    background.open = std::max({background.open_is_narrow ? narrow : coarse, least});
}

double fall_of(const Surface& surface, const Blocks& blocks) {
    const Frame frame(blocks.cols * block_px, blocks.rows * block_px);
    double low = 0, high = 0;
    for (int i = 0; i <= 16; ++i)
        for (int j = 0; j <= 16; ++j) {
            const double v = surface.at(frame.x(i / 16.0 * blocks.cols * block_px),
                                        frame.y(j / 16.0 * blocks.rows * block_px));
            low = std::min(low, i + j == 0 ? v : low);
            if (i + j == 0) low = high = v;
            low = std::min(low, v);
            high = std::max(high, v);
        }
    return std::exp(high - low) - 1;
}

} // namespace

double Surface::at(double x, double y) const {
    std::array<double, most_terms> terms_here{};
    basis(order, x, y, terms_here.data());
    double sum = 0;
    for (std::size_t k = 0; k < weights.size(); ++k)
        sum += weights[k] * terms_here[k];
    return sum;
}

double log_sigma(const NoiseLine& noise, double mean, double pixels, double correlation) {
    return std::sqrt(noise.variance(mean) * correlation / pixels) / mean;
}

Background fit_background(const Blocks& blocks, const FlatSpots& flat, const NoiseLine& noise,
                          int highest_order) {
    Background background;
    std::vector<float> means = blocks.mean;
    const double brightest = quantile(means, 0.999);
    const std::vector<Spot> spots = usable(flat, noise, brightest);
    if (spots.size() < 50) {
        background.open = std::log(std::max(brightest, 1e-30));
        return background;
    }
    Fit fit =
        rounds(spots, surface_from_slopes(spots, make_pairs(blocks, spots), std::min(2, highest_order)), 4);
    if (highest_order > 2) {
        Fit higher = rounds(spots, raised(fit.surface, highest_order), 3);
        if (higher.misfit < fit.misfit * 0.99) fit = std::move(higher);
    }
    background.surface = fit.surface;
    set_open(background, fit, block_samples(blocks, fit.surface, noise, flat.correlation, brightest));
    background.levels = fit.levels;
    for (LogLevel& level : background.levels)
        level.value -= background.open;
    background.residual = fit.misfit;
    background.fall = fall_of(fit.surface, blocks);
    background.spots = static_cast<int>(spots.size());
    return background;
}

} // namespace ringwall::exposure
