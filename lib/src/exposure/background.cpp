// SPDX-License-Identifier: Apache-2.0
#include "exposure/background.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::exposure {
namespace {

constexpr int most_terms = 14; // order 4 without the constant
constexpr int slope_terms = 5; // order 2

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

/// Normal equations that grow by one row at a time: some terms of the surface, and at most one level that the
/// row stands on.
class Equations {
  public:
    Equations(int surface_terms, int levels)
        : terms_(surface_terms), matrix_(Eigen::MatrixXd::Zero(terms_ + levels, terms_ + levels)),
          right_(Eigen::VectorXd::Zero(terms_ + levels)) {}
    /// `row`: the surface's terms; `level`: index of the level, or -1.
    void add(const double* row, int level, double value, double weight) {
        for (int j = 0; j < terms_; ++j) {
            const double weighted = weight * row[j];
            double* column = matrix_.col(j).data(); // the lower triangle is filled
            for (int i = j; i < terms_; ++i)
                column[i] += weighted * row[i];
            if (level >= 0) column[terms_ + level] += weighted;
            right_[j] += weight * value * row[j];
        }
        if (level < 0) return;
        matrix_(terms_ + level, terms_ + level) += weight;
        right_[terms_ + level] += weight * value;
    }
    /// Weak pull of the surface's terms towards zero: it only speaks where the picture says nothing.
    void pull(int order) {
        int term = 0;
        for (int degree = 1; degree <= order; ++degree)
            for (int i = 0; i <= degree; ++i, ++term) {
                const double usual = degree <= 1 ? 0.3 : degree == 2 ? 0.1 : 0.02;
                matrix_(term, term) += 1 / (usual * usual);
            }
    }
    void pull_level(int level, double towards, double weight) {
        matrix_(terms_ + level, terms_ + level) += weight;
        right_[terms_ + level] += weight * towards;
    }
    [[nodiscard]] Eigen::VectorXd solve() const {
        const Eigen::MatrixXd full = matrix_.selfadjointView<Eigen::Lower>();
        return full.ldlt().solve(right_);
    }

  private:
    int terms_;
    Eigen::MatrixXd matrix_;
    Eigen::VectorXd right_;
};

struct Spot {
    double x = 0, y = 0;
    double value = 0; ///< ln of the mean
    double sigma = 0;
    int col = 0, row = 0;
    std::array<double, most_terms> terms{}; ///< of the surface there; a lower order takes the first ones
    [[nodiscard]] double on(const Surface& surface) const {
        double sum = 0;
        for (std::size_t k = 0; k < surface.weights.size(); ++k)
            sum += surface.weights[k] * terms[k];
        return sum;
    }
};

struct Pair {
    int first = 0, second = 0;
};

/// Calls work(i) for each of a list, in no order.
template<typename List, typename Work>
void over_spots(const List& list, const Work& work) {
    over_rows(static_cast<int>(list.size()), [&](int first, int last) {
        for (int i = first; i < last; ++i)
            work(static_cast<std::size_t>(i));
    });
}

std::vector<Spot> usable(const FlatSpots& flat, const NoiseLine& noise, double brightest, int highest_order) {
    std::vector<Spot> spots;
    spots.reserve(flat.spots.size());
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
    over_spots(spots,
               [&](std::size_t i) { basis(highest_order, spots[i].x, spots[i].y, spots[i].terms.data()); });
    return spots;
}

constexpr std::size_t enough_spots = 30000; ///< a surface of 14 terms gains nothing from more

/// Every how manieth spot of a list the surface is fitted to.
std::size_t stride_over(std::size_t spots) {
    return spots / enough_spots + 1;
}

std::vector<Spot> thinned(const std::vector<Spot>& spots) {
    std::vector<Spot> some;
    some.reserve(std::min(spots.size(), enough_spots + 1));
    for (std::size_t i = 0; i < spots.size(); i += stride_over(spots.size()))
        some.push_back(spots[i]);
    return some;
}

/// Neighbours 3 and 9 blocks to the right and below, both flat.
std::vector<Pair> make_pairs(const Blocks& blocks, const std::vector<Spot>& spots) {
    std::vector<int> index(blocks.size(), -1);
    for (std::size_t i = 0; i < spots.size(); ++i)
        index[blocks.at(spots[i].col, spots[i].row)] = static_cast<int>(i);
    std::vector<Pair> pairs;
    for (std::size_t i = 0; i < spots.size(); i += stride_over(spots.size()))
        for (const int lag : {3, 9})
            for (const bool down : {false, true}) {
                const int col = spots[i].col + (down ? 0 : lag), row = spots[i].row + (down ? lag : 0);
                if (col >= blocks.cols || row >= blocks.rows) continue;
                const int other = index[blocks.at(col, row)];
                if (other >= 0) pairs.push_back({static_cast<int>(i), other});
            }
    return pairs;
}

/// What two neighbours say about the surface's slope: its terms' differences and T's.
struct Slope {
    std::array<double, slope_terms> terms{};
    double difference = 0, sigma = 1;
    double weight = 0;
};

std::vector<Slope> slopes_of(const std::vector<Spot>& spots, const std::vector<Pair>& pairs, int order) {
    std::vector<Slope> slopes(pairs.size());
    over_spots(pairs, [&](std::size_t i) {
        const Spot &p = spots[static_cast<std::size_t>(pairs[i].first)],
                   &q = spots[static_cast<std::size_t>(pairs[i].second)];
        for (std::size_t k = 0; k < static_cast<std::size_t>(terms(order)); ++k)
            slopes[i].terms[k] = q.terms[k] - p.terms[k];
        slopes[i].difference = q.value - p.value;
        slopes[i].sigma = std::hypot(p.sigma, q.sigma);
    });
    return slopes;
}

Surface surface_from_slopes(const std::vector<Spot>& spots, const std::vector<Pair>& pairs, int order) {
    const auto n = static_cast<std::size_t>(terms(order));
    Surface surface{order, std::vector<double>(n, 0.0)};
    std::vector<Slope> slopes = slopes_of(spots, pairs, order);
    for (int round = 0; round < 6; ++round) {
        // The first rounds see the whole heel in the residual: let them look wider.
        const double width = round < 2 ? 2 : 1;
        over_spots(slopes, [&](std::size_t i) {
            Slope& s = slopes[i];
            double fitted = 0;
            for (std::size_t k = 0; k < n; ++k)
                fitted += surface.weights[k] * s.terms[k];
            s.weight = tukey((s.difference - fitted) / (width * s.sigma)) / (s.sigma * s.sigma);
        });
        Equations equations(terms(order), 0);
        equations.pull(order);
        for (const Slope& s : slopes)
            if (s.weight > 0) equations.add(s.terms.data(), -1, s.difference, s.weight);
        const Eigen::VectorXd x = equations.solve();
        for (std::size_t k = 0; k < n; ++k)
            surface.weights[k] = x[static_cast<Eigen::Index>(k)];
    }
    return surface;
}

std::vector<LogSample> flattened(const std::vector<Spot>& spots, const Surface& surface) {
    std::vector<LogSample> samples(spots.size());
    over_spots(spots, [&](std::size_t i) {
        samples[i] = {spots[i].value - spots[i].on(surface), spots[i].sigma};
    });
    return samples;
}

/// One least-squares fit of surface and offsets with the classes held; returns the levels it moved.
void fit_with_levels(const std::vector<Spot>& spots, Surface& surface, std::vector<LogLevel>& levels,
                     double scale) {
    struct Seen {
        int level = 0;
        double weight = 0;
    };
    std::vector<Seen> seen(spots.size());
    over_spots(spots, [&](std::size_t i) {
        const double flat = spots[i].value - spots[i].on(surface);
        const int level = nearest_level(levels, flat);
        const double sigma = std::max(spots[i].sigma, 1e-4) * scale;
        seen[i] = {level,
                   tukey((flat - levels[static_cast<std::size_t>(level)].value) / sigma) / (sigma * sigma)};
    });
    const int n = terms(surface.order), k = static_cast<int>(levels.size());
    Equations equations(n, k);
    equations.pull(surface.order);
    for (std::size_t i = 0; i < spots.size(); ++i)
        if (seen[i].weight != 0)
            equations.add(spots[i].terms.data(), seen[i].level, spots[i].value, seen[i].weight);
    for (int j = 0; j < k; ++j)
        equations.pull_level(j, levels[static_cast<std::size_t>(j)].value, 1e-6);
    const Eigen::VectorXd x = equations.solve();
    for (int j = 0; j < n; ++j)
        surface.weights[static_cast<std::size_t>(j)] = x[j];
    for (int j = 0; j < k; ++j)
        levels[static_cast<std::size_t>(j)].value = x[n + j];
}

/// Scatter about the nearest level over its noise, of the better half of the spots times 1.48: 1 when all is
/// explained.
double misfit(const std::vector<Spot>& spots, const Surface& surface, const std::vector<LogLevel>& levels) {
    if (levels.empty()) return 1;
    std::vector<float> r(spots.size());
    over_spots(spots, [&](std::size_t i) {
        const double flat = spots[i].value - spots[i].on(surface);
        const auto level = static_cast<std::size_t>(nearest_level(levels, flat));
        r[i] = static_cast<float>(std::abs(flat - levels[level].value) / spots[i].sigma);
    });
    return r.empty() ? 1 : quantile(r, 0.5) * 1.4826;
}

struct Fit {
    Surface surface;
    std::vector<LogLevel> levels;
    double misfit = 1;
};

/// Levels come from all spots, so that a rare one is found too; the surface from `some` of them.
Fit rounds(const std::vector<Spot>& spots, const std::vector<Spot>& some, Surface surface, int count) {
    Fit fit{std::move(surface), {}, 1};
    for (int round = 0; round < count; ++round) {
        fit.levels = find_levels(flattened(spots, fit.surface), 2e-4, 12);
        if (fit.levels.empty()) break;
        const double scale = std::clamp(misfit(some, fit.surface, fit.levels), 1.0, 3.0);
        fit_with_levels(some, fit.surface, fit.levels, scale);
        fit_with_levels(some, fit.surface, fit.levels, scale);
    }
    fit.levels = find_levels(flattened(spots, fit.surface), 2e-4, 12);
    fit.misfit = misfit(some, fit.surface, fit.levels);
    return fit;
}

Surface raised(const Surface& surface, int order) {
    Surface higher = surface;
    higher.order = order;
    higher.weights.resize(static_cast<std::size_t>(terms(order)), 0);
    return higher;
}

/// Ends of the surface over the picture.
struct Span {
    double low = 0, high = 0;
};

Span span_of(const Surface& surface, const Blocks& blocks) {
    const Frame frame(blocks.cols * block_px, blocks.rows * block_px);
    Span span;
    for (int i = 0; i <= 16; ++i)
        for (int j = 0; j <= 16; ++j) {
            const double v = surface.at(frame.x(i / 16.0 * blocks.cols * block_px),
                                        frame.y(j / 16.0 * blocks.rows * block_px));
            if (i + j == 0) span = {v, v};
            span = {std::min(span.low, v), std::max(span.high, v)};
        }
    return span;
}

/// Single blocks as samples: bores too narrow for a flat spot still hold whole blocks of open beam. Those
/// well below `coarse`, the brightest level among the flat spots, are left out: only brighter ones count.
std::vector<LogSample> block_samples(const Blocks& blocks, const Surface& surface, const NoiseLine& noise,
                                     double correlation, double brightest, double coarse) {
    constexpr double well_below = 0.06, between_grid = 0.02;
    const Frame frame(blocks.cols * block_px, blocks.rows * block_px);
    const double least = std::max(
        0.3 * brightest, std::exp(coarse - well_below + span_of(surface, blocks).low - between_grid));
    return joined_rows<LogSample>(blocks.rows, [&](int row, std::vector<LogSample>& samples) {
        for (int col = 0; col < blocks.cols; ++col) {
            const std::size_t i = blocks.at(col, row);
            const double mean = blocks.mean[i];
            if (mean < least) continue;
            const double expected = noise.variance(mean);
            // 15 degrees of freedom: 2.2 passes 99.5 %; noise-free blocks are burned-in marks.
            if (noise.bins > 0 &&
                (blocks.variance[i] > 2.2 * expected || blocks.variance[i] < 0.15 * expected))
                continue;
            const double x = frame.x((col + 0.5) * block_px - 0.5), y = frame.y((row + 0.5) * block_px - 0.5);
            samples.push_back({std::log(mean) - surface.at(x, y),
                               std::max(2e-5, log_sigma(noise, mean, block_px * block_px, correlation))});
        }
    });
}

constexpr double no_level = -1e9;

double brightest_level(const std::vector<LogLevel>& levels) {
    return levels.empty() ? no_level : levels.front().value;
}

/// The brightest level that stands out, among flat spots or single blocks.
void set_open(Background& background, double coarse, const std::vector<LogSample>& blocks) {
    const double narrow = brightest_level(find_levels(blocks, 2e-4, 6));
    background.open_is_narrow = narrow > coarse + 0.02;
    background.open = background.open_is_narrow ? narrow : coarse;
}

double fall_of(const Surface& surface, const Blocks& blocks) {
    const Span span = span_of(surface, blocks);
    return std::exp(span.high - span.low) - 1;
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
    const std::vector<Spot> spots = usable(flat, noise, brightest, std::max(2, highest_order));
    if (spots.size() < 50) {
        background.open = std::log(std::max(brightest, 1e-30));
        return background;
    }
    const std::vector<Spot> some = thinned(spots);
    const std::vector<Pair> pairs = make_pairs(blocks, spots);
    Fit fit = rounds(spots, some, surface_from_slopes(spots, pairs, std::min(2, highest_order)), 4);
    if (highest_order > 2) {
        Fit higher = rounds(spots, some, raised(fit.surface, highest_order), 3);
        if (higher.misfit < fit.misfit * 0.99) fit = std::move(higher);
    }
    background.surface = fit.surface;
    const double coarse = brightest_level(fit.levels);
    set_open(background, coarse,
             block_samples(blocks, fit.surface, noise, flat.correlation, brightest, coarse));
    background.levels = fit.levels;
    for (LogLevel& level : background.levels)
        level.value -= background.open;
    background.residual = fit.misfit;
    background.fall = fall_of(fit.surface, blocks);
    background.spots = static_cast<int>(spots.size());
    return background;
}

} // namespace ringwall::exposure
