// SPDX-License-Identifier: Apache-2.0
#include "rings/feature.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ringwall::rings {
namespace {

/// Gauss-Legendre nodes and weights of order 8 on (-1, 1) (Abramowitz & Stegun table 25.4).
constexpr std::array<double, 4> node{0.1834346424956498, 0.5255324099163290, 0.7966664774136267,
                                     0.9602898564975363};
constexpr std::array<double, 4> weight{0.3626837833783620, 0.3137066458778873, 0.2223810344533745,
                                       0.1012285362903763};

double strip_share(double v, double half, double blur) {
    return blurred_edge((v + half) / blur).cdf - blurred_edge((v - half) / blur).cdf;
}

/// Share of a blurred half-infinite strip with a round end; u along the axis into the strip, v across.
double tip_share(double u, double v, double half, double blur) {
    if (u > half + 4 * blur) return strip_share(v, half, blur);
    if (u < -half - 5 * blur || std::abs(v) > half + 5 * blur) return 0;
    double sum = 0;
    const int parts = half > 3 * blur ? 2 : 1; // nodes closer than the blur
    for (int part = 0; part < parts; ++part) {
        const double width = 2 * half / parts, middle = -half + (part + 0.5) * width;
        for (std::size_t k = 0; k < 8; ++k) {
            const double x = k < 4 ? -node[k] : node[k - 4];
            const double at = middle + x * width / 2;
            const double reach = std::sqrt(std::max(0.0, half * half - at * at));
            sum += weight[k % 4] * width / 2 * blurred_edge((v - at) / blur).pdf / blur *
                   blurred_edge((u + reach) / blur).cdf;
        }
    }
    return sum;
}

struct FeaturePixel {
    double x, y, t, ring;
};

/// Share of a blurred feature at a point given in its own frame: u along the axis, v across.
double share_at(Feature::Kind kind, double half, double u, double v, double blur) {
    switch (kind) {
    case Feature::Kind::disk:
        return blurred_edge((half_height_radius(half, blur) - std::sqrt(u * u + v * v)) / blur).cdf;
    case Feature::Kind::strip:
        return strip_share(v, half, blur);
    case Feature::Kind::stub:
        return strip_share(v, half, blur) * blurred_edge(u / blur).cdf;
    case Feature::Kind::corner: { // the sides run at 45 degrees to the axis
        constexpr double root = std::numbers::sqrt2 / 2;
        return blurred_edge((u + v) * root / blur).cdf * blurred_edge((u - v) * root / blur).cdf;
    }
    default:
        return tip_share(u, v, half, blur);
    }
}

/// The share at a point and how it changes with x, y, direction and half width.
struct ShareSlope {
    double share = 0;
    std::array<double, 4> slope{};
};
class PosedFeature {
  public:
    PosedFeature(const Feature& feature, double blur)
        : f_(feature), c_(std::cos(feature.direction)), s_(std::sin(feature.direction)), blur_(blur) {}
    [[nodiscard]] ShareSlope at(double x, double y, bool with_slope) const {
        const double dx = x - f_.x, dy = y - f_.y;
        const double u = dx * c_ + dy * s_, v = -dx * s_ + dy * c_;
        ShareSlope out{share_at(f_.kind, f_.half_px, u, v, blur_), {}};
        if (!with_slope) return out;
        constexpr double pace = 0.02; // px; a share changes over the blur
        const auto change = [&](double du, double dv, double dh) {
            return (share_at(f_.kind, f_.half_px + dh, u + du, v + dv, blur_) - out.share) / pace;
        };
        const double by_v = change(0, pace, 0);
        const double by_u = f_.kind == Feature::Kind::strip ? 0 : change(pace, 0, 0);
        out.slope[0] = -by_u * c_ + by_v * s_;
        out.slope[1] = -by_u * s_ - by_v * c_;
        out.slope[2] = by_u * v - by_v * u;
        out.slope[3] = f_.kind == Feature::Kind::corner ? 0 : change(0, 0, pace);
        return out;
    }

  private:
    const Feature& f_;
    double c_, s_, blur_;
};

/// Parameters of a fit: x, y, direction, half width, then T of the feature's copper over T without it, and
/// the scale of everything.
constexpr int count = 6;
using Vector = Eigen::Matrix<double, count, 1>;
using Matrix = Eigen::Matrix<double, count, count>;

struct State {
    Feature shape;
    double copper = 1, scale = 1;
};

State moved(const State& s, const Vector& step) {
    State out = s;
    out.shape.x += step(0);
    out.shape.y += step(1);
    out.shape.direction += step(2);
    out.shape.half_px = std::max(0.8, out.shape.half_px + step(3));
    out.copper += step(4);
    out.scale += step(5);
    return out;
}

struct Problem {
    std::vector<FeaturePixel> pixels;
    const Scene& scene;
    double copper = 1, copper_u = 0.1, scale_u = 0.01;

    /// Cost and, if asked for, the normal equations. Directions that a kind does not have are held.
    double normal(const State& s, const State& start, Matrix* a, Vector* b) const {
        const double correlation = std::max(1.0, scene.levels.noise.correlation);
        double cost = 0;
        if (a) a->setZero(), b->setZero();
        const PosedFeature posed(s.shape, scene.levels.blur_px);
        for (const FeaturePixel& p : pixels) {
            const ShareSlope share = posed.at(p.x, p.y, a != nullptr);
            const double factor = 1 + (s.copper - 1) * share.share, t = s.scale * p.ring * factor;
            const double sigma = scene.levels.noise.sigma(t), r = (p.t - t) / sigma;
            const double size = std::abs(r), huber = size < 4 ? 1 : 4 / size;
            cost += size < 4 ? r * r : 8 * size - 16;
            if (!a) continue;
            const double gain = s.scale * p.ring / sigma;
            Vector slope;
            for (int k = 0; k < 4; ++k)
                slope(k) = gain * (s.copper - 1) * share.slope[static_cast<std::size_t>(k)];
            slope(4) = gain * share.share;
            slope(5) = p.ring * factor / sigma;
            a->selfadjointView<Eigen::Lower>().rankUpdate(slope, huber);
            *b += huber * r * slope;
        }
        if (a) a->triangularView<Eigen::StrictlyUpper>() = a->transpose();
        const auto prior = [&](int k, double value, double expected, double u) {
            const double r = (expected - value) / u;
            cost += r * r;
            if (!a) return;
            (*a)(k, k) += 1 / (u * u);
            (*b)(k) += r / u;
        };
        const bool disk = s.shape.kind == Feature::Kind::disk, corner = s.shape.kind == Feature::Kind::corner;
        const double wide = disk ? std::max(8.0, 0.5 * start.shape.half_px) : 8; // of a short arc's circle
        prior(0, s.shape.x, start.shape.x, wide);
        prior(1, s.shape.y, start.shape.y, wide);
        prior(2, s.shape.direction, start.shape.direction, disk ? 1e-3 : 1);
        prior(3, s.shape.half_px, start.shape.half_px, corner ? 1e-3 : wide);
        prior(4, s.copper, copper, copper_u);
        prior(5, s.scale, 1, scale_u);
        return cost / correlation;
    }
};

std::optional<Feature> fit_kind(const Problem& problem, const State& start) {
    State s = start;
    Matrix a;
    Vector b;
    double damping = 1e-3;
    double cost = problem.normal(s, start, &a, &b);
    for (int i = 0; i < 10; ++i) {
        Matrix damped = a;
        damped.diagonal() *= 1 + damping;
        const Vector step = damped.ldlt().solve(b);
        if (!step.allFinite()) return std::nullopt;
        const State next = moved(s, step);
        Matrix a_next;
        Vector b_next;
        const double after = problem.normal(next, start, &a_next, &b_next);
        if (after > cost) {
            damping *= 10;
            if (damping > 1e4) break;
            continue;
        }
        const bool done = cost - after < 1e-2;
        s = next;
        cost = after;
        a = a_next;
        b = b_next;
        damping = std::max(damping * 0.1, 1e-6);
        if (done) break;
    }
    Feature out = s.shape;
    const double freedom = std::max(1.0, static_cast<double>(problem.pixels.size()) - count);
    out.chi2 = cost / freedom;
    out.cost = cost;
    const Matrix inverse = a.ldlt().solve(Matrix::Identity());
    const double correlation = std::max(1.0, problem.scene.levels.noise.correlation);
    out.covariance = inverse.topLeftCorner<4, 4>() * std::max(1.0, out.chi2) * correlation;
    if (!out.covariance.allFinite()) return std::nullopt;
    return out;
}

/// Where to start each kind: the nearest point, the axis towards the middle of all that was seen, half its
/// breadth.
struct Shape {
    Point nearest, middle;
    double across = 0, deep = 0;
    double height = 0; ///< of the nearest point over the line between the first and the last
    Point run;         ///< unit vector from the first to the last ray's nearest points
};
Shape measure(const FeatureSeen& seen) {
    Shape out;
    double least = 1e9, weight_sum = 0;
    for (int k = 0; k < seen.count; ++k) {
        const int ray = seen.first_ray + k;
        const auto at = static_cast<std::size_t>((ray + rays) % rays);
        const Point d = ray_direction(ray);
        const double from = seen.from_px[at], to = std::max(seen.to_px[at], from + 0.5);
        const double middle = (from + to) / 2, area = (to - from) * middle;
        out.middle.x += area * middle * d.x;
        out.middle.y += area * middle * d.y;
        weight_sum += area;
        out.deep = std::max(out.deep, to - from);
        if (from < least) {
            least = from;
            out.nearest = {from * d.x, from * d.y};
        }
    }
    out.middle = {out.middle.x / weight_sum, out.middle.y / weight_sum};
    const auto edge = [&](int k) {
        const auto at = static_cast<std::size_t>((seen.first_ray + k + rays) % rays);
        const Point d = ray_direction(seen.first_ray + k);
        return Point{seen.from_px[at] * d.x, seen.from_px[at] * d.y};
    };
    const Point a = edge(0), b = edge(seen.count - 1);
    const double length = std::max(std::hypot(b.x - a.x, b.y - a.y), 1e-6);
    out.run = {(b.x - a.x) / length, (b.y - a.y) / length};
    out.across = length;
    out.height = std::abs((out.nearest.x - a.x) * out.run.y - (out.nearest.y - a.y) * out.run.x);
    return out;
}

std::vector<State> starts(const FeatureSeen& seen, double copper) {
    const Shape shape = measure(seen);
    const double rho = std::max(std::hypot(shape.nearest.x, shape.nearest.y), 1.0);
    const Point radial{shape.nearest.x / rho, shape.nearest.y / rho};
    std::vector<State> out;
    const auto add = [&](Feature::Kind kind, Point at, double direction, double half) {
        State s;
        s.copper = copper;
        s.shape.kind = kind;
        s.shape.x = at.x;
        s.shape.y = at.y;
        s.shape.direction = direction;
        s.shape.half_px = half;
        out.push_back(s);
    };
    const double strip_half = std::clamp(shape.deep / 2, 1.5, 6.0);
    const auto ahead = [&](double by) {
        return Point{shape.nearest.x + by * radial.x, shape.nearest.y + by * radial.y};
    };
    const double outward = std::atan2(radial.y, radial.x);
    const double tip_half = std::clamp(shape.across / 2.5, 1.5, 6.0);
    if (shape.across > 1.5 * shape.deep)
        add(Feature::Kind::strip, ahead(strip_half), std::atan2(shape.run.y, shape.run.x), strip_half);
    // Of the circle that the ends of what was seen and its nearest point lie on.
    const double height = std::max(shape.height, 0.05 * shape.across);
    const double disk_half = std::clamp(shape.across * shape.across / (8 * height) + height / 2, 2.0, 120.0);
    add(Feature::Kind::disk, ahead(disk_half), 0, disk_half);
    add(Feature::Kind::tip, ahead(tip_half), outward, tip_half);
    const double away = std::atan2(shape.middle.y - shape.nearest.y, shape.middle.x - shape.nearest.x);
    if (std::abs(std::remainder(away - outward, 2 * std::numbers::pi)) > 0.3)
        add(Feature::Kind::tip, ahead(tip_half), away, tip_half);
    add(Feature::Kind::stub, ahead(0), outward, tip_half);
    add(Feature::Kind::corner, ahead(0), outward, 1);
    return out;
}

Problem collect(const Scene& scene, const RingExpectation& ring, const FeatureSeen& seen) {
    Problem problem{{}, scene};
    Region region;
    const Shape shape = measure(seen);
    const double blur = scene.levels.blur_px;
    double rho = 0;
    for (int k = 0; k < seen.count; ++k)
        rho += seen.from_px[static_cast<std::size_t>((seen.first_ray + k + rays) % rays)] / seen.count;
    const int margin = std::clamp(static_cast<int>(std::lround(4 * blur / std::max(rho, 3.0) * 57.3)), 1, 30);
    for (int k = -margin; k < seen.count + margin; ++k) {
        const auto at = static_cast<std::size_t>((seen.first_ray + k + 2 * rays) % rays);
        region.use[at] = seen.most_px[at] > seen.least_px[at];
        region.inner_px[at] = seen.least_px[at];
        region.outer_px[at] = seen.most_px[at];
    }
    visit(scene, region, false, [&](std::size_t, double dx, double dy, double r, int ray, float t) {
        if (std::hypot(dx - shape.nearest.x, dy - shape.nearest.y) < 14 + 4 * blur)
            problem.pixels.push_back({dx, dy, static_cast<double>(t), ring_t(ring, ray, r, blur)});
    });
    problem.copper = ring.foil / ring.laminate;
    problem.copper_u = 0.35 * (1 - problem.copper);
    problem.scale_u = 0.2 * (1 - problem.copper);
    return problem;
}

} // namespace

double Feature::distance(double px, double py) const {
    const double dx = px - x, dy = py - y;
    if (kind == Kind::disk) return std::hypot(dx, dy) - half_px;
    const double c = std::cos(direction), s = std::sin(direction);
    const double u = dx * c + dy * s, v = std::abs(-dx * s + dy * c);
    if (kind == Kind::tip) return (u < 0 ? std::hypot(u, v) : v) - half_px;
    if (kind == Kind::strip) return v - half_px;
    // Outside a stub or a corner: how far beyond its two kinds of side, and the corner between them.
    constexpr double root = std::numbers::sqrt2 / 2;
    const double a = kind == Kind::stub ? -u : (v - u) * root,
                 b = kind == Kind::stub ? v - half_px : -(u + v) * root;
    return a > 0 && b > 0 ? std::hypot(a, b) : std::max(a, b);
}

double Feature::along(Point d, double from_px, double to_px) const {
    double rho = from_px; // sphere tracing: the distance is exact, so no step can jump over the edge
    for (int i = 0; i < 60 && rho < to_px; ++i) {
        const double away = distance(rho * d.x, rho * d.y);
        if (away < 1e-4) return rho;
        rho += away;
    }
    return 0;
}

Feature Feature::moved(int parameter, double by) const {
    Feature out = *this;
    if (parameter == 0) out.x += by;
    if (parameter == 1) out.y += by;
    if (parameter == 2) out.direction += by;
    if (parameter == 3) out.half_px += by;
    return out;
}

namespace {

/// The kind that explains the pixels of `problem` best.
std::optional<Feature> best_kind(const Problem& problem, const FeatureSeen& seen) {
    if (problem.pixels.size() < 40) return std::nullopt;
    std::optional<Feature> best;
    std::vector<Feature> fits;
    const double good = 1 + 2 * std::sqrt(2.0 / static_cast<double>(problem.pixels.size()));
    for (const State& start : starts(seen, problem.copper)) {
        auto fit = fit_kind(problem, start);
        if (!fit) continue;
        fits.push_back(*fit);
        // Etched traces end round: a square end must explain the picture 90 times better to be believed.
        if (fit->kind == Feature::Kind::stub) fits.back().cost = fit->cost += 9;
        if (!best || fit->cost < best->cost) best = fit;
        // A straight edge, straighter than a land's: no end to argue about.
        if (fit->kind == Feature::Kind::disk && best->kind == Feature::Kind::strip && best->chi2 < good)
            break;
    }
    if (!best) return best;
    const double allowed = 1 + 5 * std::sqrt(2.0 / static_cast<double>(problem.pixels.size()));
    if (best->chi2 > std::min(1.5, allowed)) return std::nullopt;
    for (const Feature& other : fits)
        if (other.cost < best->cost + 4)
            best->u_kind_px =
                std::max(best->u_kind_px, std::abs(other.distance(0, 0) - best->distance(0, 0)) / 2);
    return best;
}

} // namespace

std::optional<Feature> fit_feature(const Scene& scene, const RingExpectation& ring, const FeatureSeen& seen) {
    if (seen.count < 2) return std::nullopt;
    if (seen.passes_px > 0) { // copper of another layer shows over the ring's as well
        FeatureSeen whole = seen;
        for (std::size_t i = 0; i < rays; ++i)
            whole.most_px[i] = std::max(seen.most_px[i], ring.edge_px[i] + seen.passes_px);
        const Problem problem = collect(scene, ring, whole);
        const double allowed = 1 + 3 * std::sqrt(2.0 / static_cast<double>(problem.pixels.size()));
        auto found = best_kind(problem, seen);
        if (found && found->chi2 < allowed && found->kind != Feature::Kind::disk &&
            found->kind != Feature::Kind::corner)
            return found;
    }
    return best_kind(collect(scene, ring, seen), seen);
}

} // namespace ringwall::rings
