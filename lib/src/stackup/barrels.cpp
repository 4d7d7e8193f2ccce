// SPDX-License-Identifier: Apache-2.0
#include "stackup/barrels.hpp"

#include <Eigen/Dense>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

namespace ringwall::stackup {
namespace {

constexpr std::size_t most_tries = 4000;
constexpr double most_left_over = 0.08; ///< of what a tube is to explain
constexpr double u_model_px = 0.6; ///< rims thinner than the blur: what wall and width may trade, measured
constexpr double sure_gain = 60;   ///< chi2 of a tube that noise would feign once in very many boards
constexpr double least_radius_px = 2.5, widest_radius_px = 130;

/// Attenuation along the board, one entry a pixel, of the laminate in some rows.
struct Track {
    double first = 0;      ///< along, of entry 0
    std::vector<double> p; ///< baseline taken off
    double u = 0;          ///< of one entry
    [[nodiscard]] int size() const { return static_cast<int>(p.size()); }
};

double chord(double radius, double x) {
    return std::abs(x) < radius ? 2 * std::sqrt(radius * radius - x * x) : 0;
}

/// Mean over the blur of a function along the board; steps fine enough for a rim of a pixel.
template<typename F>
double blurred(const F& f, double x, double sigma) {
    constexpr int half = 18;
    static const auto weights = [] {
        std::array<double, 2 * half + 1> w{};
        double sum = 0;
        for (int k = -half; k <= half; ++k)
            sum += w[static_cast<std::size_t>(k + half)] = std::exp(-0.02 * k * k); // steps of 0.2 sigma
        for (double& each : w)
            each /= sum;
        return w;
    }();
    double sum = 0;
    for (int k = -half; k <= half; ++k)
        sum += weights[static_cast<std::size_t>(k + half)] * f(x + 0.2 * k * sigma);
    return sum;
}

struct Tube {
    double x = 0, radius = 5, wall = 1.2;
};

/// The two shapes whose shares are fitted: copper of the wall, laminate taken away.
std::array<double, 2> shapes(const Tube& tube, double x, double sigma) {
    const double bore = std::max(0.0, tube.radius - tube.wall);
    const auto copper = [&](double at) { return chord(tube.radius, at) - chord(bore, at); };
    const auto taken = [&](double at) { return -chord(tube.radius, at); };
    return {blurred(copper, x - tube.x, sigma), blurred(taken, x - tube.x, sigma)};
}

struct TubeFit {
    Tube tube;
    Eigen::Vector2d shares = Eigen::Vector2d::Zero();
    double gain = 0;     ///< of chi2
    double u_copper = 1; ///< of shares[0]
};

/// Shares by linear least squares over the tube's surroundings; a level of its own is fitted with them.
TubeFit shares_of(const Track& track, const Tube& tube, double sigma) {
    TubeFit fit{tube, {}, 0, 1};
    const double reach = tube.radius + 4 * sigma + 3;
    const int from = std::max(0, static_cast<int>(std::ceil(tube.x - reach - track.first)));
    const int to = std::min(track.size() - 1, static_cast<int>(tube.x + reach - track.first));
    if (to - from < 6) return fit;
    Eigen::Matrix3d matrix = Eigen::Matrix3d::Identity() * 1e-12;
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    const double w = 1 / (track.u * track.u);
    matrix(2, 2) += 1 / (9 * track.u * track.u); // the baseline is known to a few of its u
    for (int i = from; i <= to; ++i) {
        const auto [copper, taken] = shapes(tube, track.first + i, sigma);
        const Eigen::Vector3d row(copper, taken, 1);
        matrix += w * row * row.transpose();
        right += w * track.p[static_cast<std::size_t>(i)] * row;
    }
    const auto solver = matrix.ldlt();
    const Eigen::Vector3d a = solver.solve(right);
    fit.shares = a.head<2>();
    fit.gain = a.dot(right);
    fit.u_copper = std::sqrt(std::max(1e-18, solver.solve(Eigen::Vector3d(1, 0, 0))[0]));
    return fit;
}

/// Hill climbing over place, radius and wall: the shares are solved at each step.
TubeFit refined(const Track& track, TubeFit best, double sigma) {
    double dx = 1, dr = 1, dw = 0.4;
    for (int round = 0; round < 40 && (dx > 0.01 || dr > 0.01); ++round) {
        bool moved = false;
        const Tube at = best.tube;
        // Along the ridge too: a thicker wall in a wider tube reaches as far inward.
        const double steps[][3] = {{dx, 0, 0}, {-dx, 0, 0}, {0, dr, 0},      {0, -dr, 0},
                                   {0, 0, dw}, {0, 0, -dw}, {0, dr, 2 * dr}, {0, -dr, -2 * dr}};
        for (const auto& [x, r, w] : steps) {
            const Tube tried{at.x + x, at.radius + r, at.wall + w};
            if (tried.radius < least_radius_px || tried.wall < 0.3 || tried.wall > 0.5 * tried.radius + 0.5 ||
                tried.wall > 4)
                continue;
            const TubeFit fit = shares_of(track, tried, sigma);
            if (fit.shares[0] > 0 && fit.gain > best.gain + 1e-6) best = fit, moved = true;
        }
        if (!moved) dx /= 2, dr /= 2, dw /= 2;
    }
    return best;
}

/// u of the radius: how far it may go until chi2 has risen by 1, place, wall and shares following.
double radius_u(const Track& track, const TubeFit& best, double sigma) {
    const double step = 0.3;
    double sum = 0;
    for (const double sign : {-1.0, 1.0}) {
        double most = -1e300;
        for (int k = -20; k <= 20; ++k) {
            Tube tube = best.tube;
            tube.radius += sign * step, tube.wall += 0.1 * k;
            if (tube.wall < 0.3 || tube.wall > 0.5 * tube.radius) continue;
            most = std::max(most, shares_of(track, tube, sigma).gain);
        }
        sum += std::max(1e-3, best.gain - most);
    }
    return std::clamp(step / std::sqrt(sum / 2), 0.02, 5.0);
}

void take_off(Track& track, const TubeFit& fit, double sigma) {
    const double reach = fit.tube.radius + 4 * sigma + 3;
    for (int i = 0; i < track.size(); ++i) {
        const double x = track.first + i;
        if (std::abs(x - fit.tube.x) > reach) continue;
        const auto [copper, taken] = shapes(fit.tube, x, sigma);
        track.p[static_cast<std::size_t>(i)] -= fit.shares[0] * copper + fit.shares[1] * taken;
    }
}

double median_of(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Whether a row lies in laminate, clear of copper and faces; which half of the board.
std::optional<int> half_of(double z, const Steps& s, double middle) {
    const double clear = 2.2 * s.sigma;
    for (std::size_t j = 0; j + 1 < s.edges.size(); ++j) {
        if (s.is[j + 1] != Steps::Is::laminate) continue;
        if (z > s.edges[j] + clear && z < s.edges[j + 1] - clear) return z < middle ? 0 : 1;
    }
    return std::nullopt;
}

/// Sums of transmission along the board in the laminate's rows, upper and lower half.
struct Sums {
    std::vector<double> t, n;
    double off =
        0; ///< of the pixels from their entries' places, summed up: of a level board all lie off alike
};

std::array<Sums, 2> sums_of(const TransmissionMap& map, const Strip& strip, const Steps& s, double first,
                            int length, Watch& watch) {
    std::array<Sums, 2> sums;
    for (Sums& half : sums)
        half.t.assign(static_cast<std::size_t>(length), 0), half.n = half.t;
    const double middle = (s.edges.front() + s.edges.back()) / 2;
    for (int y = 0; y < map.t.height(); ++y) {
        if (y % 64 == 0 && watch.cancelled()) throw Cancelled{};
        for (int x = 0; x < map.t.width(); ++x) {
            const Point p = strip.strip_from_image({static_cast<double>(x), static_cast<double>(y)});
            const auto i = static_cast<int>(std::lround(p.x - first));
            if (i < 0 || i >= length) continue;
            const auto half = half_of(p.y, s, middle);
            if (!half) continue;
            Sums& into = sums[static_cast<std::size_t>(*half)];
            into.off += p.x - first - i;
            into.t[static_cast<std::size_t>(i)] += map.t(x, y), into.n[static_cast<std::size_t>(i)] += 1;
        }
    }
    return sums;
}

/// Attenuation against the usual one; u from the scatter between neighbours, which barrels hardly touch.
std::optional<Track> track_of(const std::vector<const Sums*>& sums, double first) {
    Track track{first, {}, 0};
    const std::size_t length = sums.front()->t.size();
    double off = 0, pixels = 0;
    std::vector<double> values, steps;
    for (std::size_t i = 0; i < length; ++i) {
        double t = 0, n = 0;
        for (const Sums* half : sums)
            t += half->t[i], n += half->n[i];
        if (n < 1) return std::nullopt;
        pixels += n;
        track.p.push_back(-std::log(std::max(t / n, 1e-4)));
    }
    for (const Sums* half : sums)
        off += half->off;
    track.first += off / pixels;
    const double usual = median_of(track.p);
    for (double& p : track.p)
        p -= usual;
    for (std::size_t i = 2; i < length; ++i)
        steps.push_back(std::abs(track.p[i] - 2 * track.p[i - 1] + track.p[i - 2]));
    if (steps.size() < 8) return std::nullopt;
    track.u = std::max(1e-4, 1.4826 * median_of(steps) / std::sqrt(6.0));
    return track;
}

/// A tube of one radius at whole places: shapes and normal equations are the same at each.
class Template {
  public:
    Template(double radius, double sigma, double u)
        : radius_(radius), reach_(static_cast<int>(radius + 4 * sigma + 3)), weight_(1 / (u * u)) {
        const Tube tube{0, radius, std::min(1.2, 0.4 * radius)};
        Eigen::Matrix3d matrix = Eigen::Matrix3d::Identity() * 1e-12;
        matrix(2, 2) += weight_ / 9;
        for (int k = -reach_; k <= reach_; ++k) {
            const auto [copper, taken] = shapes(tube, k, sigma);
            rows_.emplace_back(copper, taken, 1);
            matrix += weight_ * rows_.back() * rows_.back().transpose();
        }
        inverse_ = matrix.inverse();
    }
    /// Gain of chi2 at entry i; 0 where a rim is not dark, copper would be negative or the track ends.
    [[nodiscard]] double gain(const Track& track, int i) const {
        const int rim = static_cast<int>(std::lround(0.93 * radius_));
        if (i - reach_ < 0 || i + reach_ >= track.size()) return 0;
        const double* p = track.p.data() + i;
        if (p[-rim] < 3 * track.u || p[rim] < 3 * track.u) return 0;
        Eigen::Vector3d right = Eigen::Vector3d::Zero();
        for (int k = -reach_; k <= reach_; ++k)
            right += p[k] * rows_[static_cast<std::size_t>(k + reach_)];
        right *= weight_;
        const Eigen::Vector3d a = inverse_ * right;
        return a[0] > 0 ? a.dot(right) : 0;
    }
    [[nodiscard]] double radius() const { return radius_; }
    [[nodiscard]] int reach() const { return reach_; }

  private:
    double radius_;
    int reach_;
    double weight_;
    std::vector<Eigen::Vector3d> rows_;
    Eigen::Matrix3d inverse_;
};

/// Gains of all radii at all places, kept up to date where the track changes.
class Scan {
  public:
    Scan(const Track& track, double sigma, Watch& watch) : track_(track) {
        for (double r = 3; r < widest_radius_px; r *= 1.22)
            templates_.emplace_back(r, sigma, track.u);
        gains_.assign(templates_.size(), std::vector<double>(static_cast<std::size_t>(track.size())));
        spent_.assign(templates_.size(), std::vector<bool>(static_cast<std::size_t>(track.size())));
        for (std::size_t k = 0; k < templates_.size(); ++k) {
            if (watch.cancelled()) throw Cancelled{};
            update(k, 0, track.size() - 1);
        }
    }
    void changed(int from, int to) {
        for (std::size_t k = 0; k < templates_.size(); ++k)
            update(k, from - templates_[k].reach(), to + templates_[k].reach());
    }
    /// A place that was looked at with a radius is not looked at again with it.
    void spend(const Tube& tube) {
        const int at = static_cast<int>(std::lround(tube.x - track_.first));
        for (std::size_t k = 0; k < templates_.size(); ++k) {
            if (templates_[k].radius() != tube.radius) continue;
            for (int i = std::max(0, at - 1); i <= std::min(track_.size() - 1, at + 1); ++i)
                spent_[k][static_cast<std::size_t>(i)] = true, gains_[k][static_cast<std::size_t>(i)] = 0;
        }
    }
    [[nodiscard]] std::pair<Tube, double> best() const {
        std::pair<Tube, double> best{{}, 0};
        for (std::size_t k = 0; k < templates_.size(); ++k) {
            const auto at = std::max_element(gains_[k].begin(), gains_[k].end());
            const double r = templates_[k].radius();
            if (*at > best.second)
                best = {
                    {track_.first + static_cast<double>(at - gains_[k].begin()), r, std::min(1.2, 0.4 * r)},
                    *at};
        }
        return best;
    }

  private:
    void update(std::size_t k, int from, int to) {
        for (int i = std::max(0, from); i <= std::min(track_.size() - 1, to); ++i) {
            const auto at = static_cast<std::size_t>(i);
            gains_[k][at] = spent_[k][at] ? 0 : templates_[k].gain(track_, i);
        }
    }
    const Track& track_;
    std::vector<Template> templates_;
    std::vector<std::vector<double>> gains_;
    std::vector<std::vector<bool>> spent_;
};

/// Share of what stands above noise within a tube that it does not explain. Two rims of different holes,
/// taken for one wide tube, leave all that lies between them.
double left_over(const Track& track, const TubeFit& fit, double sigma) {
    const double reach = fit.tube.radius + 2 * sigma, noise = track.u * track.u;
    double before = 0, after = 0;
    for (int i = 0; i < track.size(); ++i) {
        const double x = track.first + i;
        if (std::abs(x - fit.tube.x) > reach) continue;
        const auto [copper, taken] = shapes(fit.tube, x, sigma);
        const double p = track.p[static_cast<std::size_t>(i)];
        const double off = p - fit.shares[0] * copper - fit.shares[1] * taken;
        before += p * p - noise, after += off * off - noise;
    }
    return before > 0 ? after / before : 1;
}

/// Copper beyond noise, in the upper and in the lower half of the board alike.
bool goes_through(const TubeFit& fit, const std::optional<Track>& upper, const std::optional<Track>& lower,
                  double sigma) {
    bool through = fit.shares[0] > 6 * fit.u_copper;
    for (const auto* half : {&upper, &lower})
        if (*half) {
            const TubeFit seen = shares_of(**half, fit.tube, sigma);
            through = through && seen.shares[0] > 3 * seen.u_copper && seen.shares[0] > 0.4 * fit.shares[0];
        }
    return through;
}

} // namespace

std::vector<Barrel> find_barrels(const TransmissionMap& map, const Strip& strip, const Steps& steps,
                                 Watch& watch) {
    const double first = strip.first + 4, sigma = steps.sigma;
    const int length = static_cast<int>(strip.last - strip.first) - 8;
    if (length < 20) return {};
    const auto sums = sums_of(map, strip, steps, first, length, watch);
    auto whole = track_of({&sums[0], &sums[1]}, first);
    const auto upper = track_of({&sums[0]}, first), lower = track_of({&sums[1]}, first);
    if (!whole) return {};
    std::vector<Barrel> barrels;
    Scan scan(*whole, sigma, watch);
    for (std::size_t tries = 0; tries < most_tries; ++tries) {
        if (watch.cancelled()) throw Cancelled{};
        const auto [tube, gain] = scan.best();
        if (gain < sure_gain) break;
        scan.spend(tube);
        const TubeFit rough = shares_of(*whole, tube, sigma);
        if (left_over(*whole, rough, sigma) > 0.6) continue;
        const TubeFit fit = refined(*whole, rough, sigma);
        if (left_over(*whole, fit, sigma) > most_left_over || !goes_through(fit, upper, lower, sigma))
            continue;
        const double u = std::hypot(2 * radius_u(*whole, fit, sigma), u_model_px);
        barrels.push_back({fit.tube.x, Estimate::of(2 * fit.tube.radius, u)});
        take_off(*whole, fit, sigma);
        const int reach = static_cast<int>(fit.tube.radius + 4 * sigma + 4);
        const int at = static_cast<int>(std::lround(fit.tube.x - whole->first));
        scan.changed(at - reach, at + reach);
    }
    std::sort(barrels.begin(), barrels.end(),
              [](const Barrel& a, const Barrel& b) { return a.along < b.along; });
    return barrels;
}

} // namespace ringwall::stackup
