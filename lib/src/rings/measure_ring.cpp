// SPDX-License-Identifier: Apache-2.0
#include "rings/circle_guess.hpp"
#include "rings/local_edge.hpp"
#include "rings/ring_fit.hpp"
#include "rings/rings.hpp"
#include "rings/smallest.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace rings {
namespace {

constexpr double near_reach_px = 56; ///< first look; most rings lie nearer

/// Work on one hole, in the order of its steps.
struct Job {
    const TransmissionMap& map;
    Hole& hole;
    std::span<const Hole> neighbours;
    const RingOptions& options;
    RingLevels levels;
    WallLine wall;
    bool plated = false;
    double wall_zone_px = 0;
    double reach_px = 0;
    Patch patch;
    std::array<RaySight, rays> sights{};
    RayFlags hidden{}, own{}, joined_arc{};
    double land_px = 0; ///< outer radius of own copper round the hole, 0: none
    bool runs_on = false;
    RingFit ring;
    std::array<LocalEdge, rays> local{};
    std::array<double, rays> edge_px{}; ///< true copper edge, 0: none
    std::vector<GapOfRay> gaps;
    Eigen::MatrixXd covariance; ///< fit parameters, then wall radius, centre x, centre y

    [[nodiscard]] Scene scene() const { return {map, levels, hole, wall, patch, plated}; }
    [[nodiscard]] std::uint64_t seed() const {
        const auto part = [](double v) { return static_cast<std::uint64_t>(std::llround(v * 64)); };
        return Random_mix(options.seed, part(hole.centre_px.x), part(hole.centre_px.y));
    }
    static std::uint64_t Random_mix(std::uint64_t a, std::uint64_t b, std::uint64_t c) {
        std::uint64_t h = a;
        for (std::uint64_t v : {b, c})
            h = (h ^ v) * 0xff51afd7ed558ccdULL + 0x9e3779b97f4a7c15ULL;
        return h;
    }
};

std::size_t idx(int ray) {
    return static_cast<std::size_t>(((ray % rays) + rays) % rays);
}

// ---- looking
// ------------------------------------------------------------------------------------------------------

bool answered(const RaySight& s) {
    return s.first > 0 || s.own_to_the_end || s.hidden || s.cut;
}

void look(Job& job, double reach_px) {
    job.reach_px = reach_px;
    job.patch =
        make_patch(job.map, job.levels, job.hole, job.wall, job.neighbours, reach_px, job.wall_zone_px, 1);
    job.sights =
        scan(job.patch, job.levels, job.hole, job.wall, job.neighbours, job.wall_zone_px, reach_px - 8);
}

void look_around(Job& job) {
    look(job, std::min(near_reach_px, job.options.search_px));
    const auto found = std::count_if(job.sights.begin(), job.sights.end(), answered);
    if (found < rays && job.options.search_px > near_reach_px) look(job, job.options.search_px);
    job.hidden = rays_in(job.hole.hidden_arcs);
    for (std::size_t i = 0; i < rays; ++i)
        if (job.sights[i].hidden) job.hidden[i] = true;
}

// ---- own copper
// ---------------------------------------------------------------------------------------------------

double median_of(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Lands, spokes and planes joined to a plated wall: which rays start in own copper that runs on beyond the
/// land.
void find_own_copper(Job& job) {
    if (!job.plated) return;
    std::vector<double> ends;
    for (const RaySight& s : job.sights)
        if (s.own_end > 0 && !s.own_to_the_end) ends.push_back(s.own_end);
    job.land_px = median_of(ends);
    const double beyond = std::max(3.0, 2 * std::hypot(job.levels.blur_px, job.patch.smoothing_px));
    bool joined = false;
    int to_the_end = 0;
    for (std::size_t i = 0; i < rays; ++i) {
        const RaySight& s = job.sights[i];
        const bool far = s.own_to_the_end || (s.own_end > 0 && s.own_end > job.land_px + beyond);
        job.own[i] = far;
        to_the_end += s.own_to_the_end ? 1 : 0;
        if (s.first > 0 && s.label == job.patch.wall_label && job.patch.wall_label != 0) joined = true;
    }
    // A trace leaves over a few degrees and no other copper hangs on it; a plane surrounds, or fills a broad
    // arc.
    job.runs_on = joined || to_the_end > 60;
    if (job.runs_on) job.joined_arc = job.own;
}

// ---- the closed contour
// -------------------------------------------------------------------------------------------

bool has_edge(const Job& job, std::size_t i) {
    const RaySight& s = job.sights[i];
    return s.first > 0 && !s.neighbour && !job.hidden[i] && !job.own[i];
}

int most_common_foils(const Job& job, const RayFlags& use) {
    std::array<int, 12> votes{};
    for (std::size_t i = 0; i < rays; ++i)
        if (use[i]) ++votes[static_cast<std::size_t>(std::clamp(job.sights[i].foils, 1, 11))];
    return static_cast<int>(std::max_element(votes.begin() + 1, votes.end()) - votes.begin());
}

struct Guess {
    bool ok = false;
    Contour contour;
    RayFlags use{};
};

Guess guess_ring(const Job& job) {
    std::vector<Point> points;
    std::vector<int> ray_of_point;
    int at_wall = 0;
    for (int i = 0; i < rays; ++i) {
        if (!has_edge(job, idx(i))) continue;
        const RaySight& s = job.sights[idx(i)];
        if (s.at_wall) {
            ++at_wall;
            continue;
        }
        const Point d = ray_direction(i);
        points.push_back({s.first * d.x, s.first * d.y});
        ray_of_point.push_back(i);
    }
    Guess guess;
    const double spread = std::hypot(job.levels.blur_px, job.patch.smoothing_px);
    const double tolerance = 0.4 + 0.6 * spread;
    const auto circle = guess_circle(points, tolerance, 60, job.seed());
    if (circle) {
        guess.contour.cx = circle->centre.x;
        guess.contour.cy = circle->centre.y;
        guess.contour.r50 = circle->radius;
        for (std::size_t k = 0; k < points.size(); ++k)
            if (circle->inlier[k]) guess.use[idx(ray_of_point[k])] = true;
        guess.ok = true;
    } else if (at_wall >= 120) {
        guess.contour.r50 = job.wall.mean_px + job.levels.blur_px;
        guess.ok = true;
    }
    if (!guess.ok) return guess;
    for (int i = 0; i < rays; ++i) { // copper already within the wall's blur, where the circle says so
        const RaySight& s = job.sights[idx(i)];
        if (!has_edge(job, idx(i)) || !s.at_wall) continue;
        if (guess.contour.along(ray_direction(i)) < s.first + tolerance) guess.use[idx(i)] = true;
    }
    return guess;
}

/// Rays next to ones that the contour does not follow see the other copper's blur.
RayFlags without_margins(const Job& job, const RayFlags& use, double radius_px) {
    const int margin = std::clamp(
        static_cast<int>(std::ceil(2.0 * job.levels.blur_px / std::max(radius_px, 4.0) * 57.3)), 1, 12);
    RayFlags out = use;
    for (int i = 0; i < rays; ++i) {
        if (use[idx(i)]) continue;
        for (int k = -margin; k <= margin; ++k)
            out[idx(i + k)] = false;
    }
    return out;
}

struct RingModel {
    StepModel steps;
    std::vector<int> foils;
    int contour = 0;
    Region region;
};

std::optional<Contour> guess_land(const Job& job, const RayFlags& use) {
    std::vector<Point> points;
    for (int i = 0; i < rays; ++i) {
        const RaySight& s = job.sights[idx(i)];
        if (!use[idx(i)] || s.own_end <= 0) continue;
        const Point d = ray_direction(i);
        points.push_back({s.own_end * d.x, s.own_end * d.y});
    }
    const double spread = std::hypot(job.levels.blur_px, job.patch.smoothing_px);
    const auto circle = guess_circle(points, 0.4 + 0.6 * spread, 60, job.seed());
    if (!circle) return std::nullopt;
    Contour out;
    out.cx = circle->centre.x;
    out.cy = circle->centre.y;
    out.r50 = circle->radius;
    return out;
}

int land_foils(const Job& job) {
    std::array<int, 12> votes{};
    const double zone = job.wall_zone_px;
    for (int i = 0; i < rays; ++i) {
        const Point d = ray_direction(i);
        const double rho = job.wall.radius_px[idx(i)] + zone + 1;
        const int x = static_cast<int>(std::lround(job.patch.centre.x + rho * d.x));
        const int y = static_cast<int>(std::lround(job.patch.centre.y + rho * d.y));
        if (!job.patch.contains(x, y) || job.patch.use[job.patch.at(x, y)] != Use::free) continue;
        ++votes[std::min<std::size_t>(job.patch.foils[job.patch.at(x, y)], 11)];
    }
    return static_cast<int>(std::max_element(votes.begin() + 1, votes.end()) - votes.begin());
}

/// Which edges stand near enough to the ring's to share its fit, and which pixels belong to it.
RingModel ring_model(const Job& job, const Guess& guess) {
    RingModel out;
    const double blur = job.levels.blur_px;
    const int outside = most_common_foils(job, guess.use);
    out.steps.blur_px = blur;
    out.region.use = without_margins(job, guess.use, guess.contour.r50);
    double narrowest = 1e9, narrowest_to_land = 1e9;
    for (int i = 0; i < rays; ++i) {
        if (!guess.use[idx(i)]) continue;
        const double at = guess.contour.along(ray_direction(i));
        narrowest = std::min(narrowest, at - job.wall.radius_px[idx(i)]);
        if (job.sights[idx(i)].own_end > 0)
            narrowest_to_land = std::min(narrowest_to_land, at - job.sights[idx(i)].own_end);
    }
    std::optional<Contour> land;
    if (job.plated && narrowest_to_land < 8 * blur) land = guess_land(job, guess.use);
    if (!job.plated && narrowest < 9 * blur) {
        out.steps.walls = 1;
        out.foils = {-1, 0, outside};
    } else if (land) {
        out.steps.contours.push_back(*land);
        out.foils = {land_foils(job), 0, outside};
        out.contour = 1;
    } else if (job.plated && job.land_px == 0 && narrowest < 7 * blur) {
        out.steps.walls = 2;
        out.foils = {-1, 1, 0, outside};
    } else {
        out.foils = {0, outside};
    }
    out.steps.contours.push_back(guess.contour);
    for (int i = 0; i < rays; ++i) {
        const RaySight& s = job.sights[idx(i)];
        const double at = guess.contour.along(ray_direction(i)), wall = job.wall.radius_px[idx(i)];
        double inner = std::max(wall + 3 * blur, at - 3.5 * blur - 8);
        if (out.steps.walls > 0)
            inner = std::max(0.0, wall - (out.steps.walls == 2 ? 12 : 7) * blur);
        else if (land)
            inner = std::max(wall + 3 * blur, s.own_end - 3.5 * blur - 4);
        else if (s.own_end > 0)
            inner = std::max(inner, s.own_end + 2.5 * blur);
        out.region.inner_px[idx(i)] = inner;
        double outer = at + 3.5 * blur + 8;
        if (s.next > 0) outer = std::min(outer, s.next - 2.5 * blur - 0.5 * job.patch.smoothing_px);
        out.region.outer_px[idx(i)] = outer;
    }
    return out;
}

void fit_contour(Job& job) {
    const Guess guess = guess_ring(job);
    if (!guess.ok) return;
    const RingModel model = ring_model(job, guess);
    job.ring = fit_ring(job.scene(), model.steps, model.contour, model.region, model.foils);
    if (!job.ring.ok) return;
    // The margins were left out of the fit, not of the ring.
    for (int i = 0; i < rays; ++i)
        if (guess.use[idx(i)] && !model.region.use[idx(i)]) job.ring.followed[idx(i)] = true;
}

// ---- edges of their own
// -------------------------------------------------------------------------------------------

void fit_local(Job& job) {
    RayFlags wanted{}, from_wall{};
    std::array<double, rays> start{}, inner{}, outer{};
    const double laminate =
        job.ring.ok ? job.ring.steps.model
                          .level[static_cast<std::size_t>(job.ring.steps.model.walls + job.ring.contour)]
                    : job.levels.laminate;
    for (std::size_t i = 0; i < rays; ++i) {
        const RaySight& s = job.sights[i];
        wanted[i] = has_edge(job, i) && !job.ring.followed[i];
        from_wall[i] = wanted[i] && !job.plated && s.first - job.wall.radius_px[i] < 6 * job.levels.blur_px;
        start[i] = s.first;
        inner[i] = laminate;
        outer[i] = level_of(job.levels, std::max(1, s.foils));
    }
    job.local = local_edges(job.scene(), wanted, from_wall, start, inner, outer);
    for (std::size_t i = 0; i < rays; ++i) {
        if (!wanted[i] || job.local[i].ok) continue;
        const double spread = std::hypot(job.levels.blur_px, job.patch.smoothing_px);
        job.local[i] = {true, job.sights[i].first, 0.5 * spread,
                        1}; // the smoothed crossing, for what it is worth
    }
}

// ---- the profile
// --------------------------------------------------------------------------------------------------

/// The contour of the true edge: blur moves the half-height line towards the centre of curvature by blur^2 /
/// 2R.
Contour true_contour(const Contour& half_height, double blur_px) {
    Contour out = half_height;
    const double r = half_height.r50;
    out.r50 = true_radius(r, blur_px);
    for (int k = 2; k <= out.order; ++k)
        for (int part = 0; part < 2; ++part)
            out.harmonic[static_cast<std::size_t>(2 * (k - 2) + part)] *=
                1 + blur_px * blur_px * (k * k - 1) / (2 * r * r);
    return out;
}

/// Shortest way from the copper point on ray i to the wall.
double distance_to_wall(const WallLine& wall, int ray, double rho) {
    if (wall.round) return rho - wall.mean_px;
    const Point d = ray_direction(ray);
    double least = rho - wall.radius_px[idx(ray)];
    if (least <= 0) return least;
    double least2 = least * least;
    for (int k = -60; k <= 60; ++k) {
        const Point e = ray_direction(ray + k);
        const double r = wall.radius_px[idx(ray + k)];
        const double dx = rho * d.x - r * e.x, dy = rho * d.y - r * e.y;
        least2 = std::min(least2, dx * dx + dy * dy);
    }
    return std::sqrt(least2);
}

void gather_covariance(Job& job) {
    const Eigen::Index n = job.ring.ok ? job.ring.steps.covariance.rows() : 0;
    job.covariance = Eigen::MatrixXd::Zero(n + 3, n + 3);
    if (n > 0) job.covariance.topLeftCorner(n, n) = job.ring.steps.covariance;
    const bool wall_in_fit = job.ring.ok && job.ring.steps.model.walls > 0;
    const double u_radius = wall_in_fit ? 0 : job.wall.u_radius_px;
    job.covariance(n, n) = u_radius * u_radius;
    job.covariance(n + 1, n + 1) = job.wall.u_x_px * job.wall.u_x_px;
    job.covariance(n + 2, n + 2) = job.wall.u_y_px * job.wall.u_y_px;
}

GapOfRay gap_on(const Job& job, int ray, const Contour& contour) {
    const Eigen::Index n = job.covariance.rows() - 3;
    GapOfRay gap;
    gap.ray = ray;
    gap.slope = Eigen::VectorXd::Zero(n + 3);
    const Point d = ray_direction(ray);
    gap.slope(n) = -1;
    gap.slope(n + 1) = -d.x;
    gap.slope(n + 2) = -d.y;
    double rho = 0;
    if (job.ring.followed[idx(ray)]) {
        const StepModel& model = job.ring.steps.model;
        rho = contour.along(d);
        std::array<double, 3 + 2 * most_order> f{};
        contour.slopes(rho * d.x, rho * d.y, f.data());
        const double rate = std::max(0.3, f[0] * d.x + f[1] * d.y);
        const int base = model.contour_index(job.ring.contour);
        for (int k = 0; k < contour.parameters(); ++k)
            gap.slope(base + k) = f[static_cast<std::size_t>(k)] / rate;
        if (model.walls > 0) gap.slope(model.shift_index()) = -1;
        rho -= model.walls > 0 ? model.wall_shift_px : 0;
    } else {
        rho = job.local[idx(ray)].rho_px;
        gap.u_own_px = job.local[idx(ray)].u_px;
        gap.window = job.local[idx(ray)].window;
    }
    gap.gap_px = distance_to_wall(job.wall, ray, rho);
    gap.u_own_px = std::hypot(gap.u_own_px, job.wall.u_ray_px);
    return gap;
}

void fill_profile(Job& job) {
    KeepOut& keepout = job.hole.keepout;
    keepout.profile.assign(rays, {});
    gather_covariance(job);
    Contour contour;
    if (job.ring.ok)
        contour = true_contour(job.ring.steps.model.contours[static_cast<std::size_t>(job.ring.contour)],
                               job.ring.steps.model.blur_px);
    for (int i = 0; i < rays; ++i) {
        GapSample& sample = keepout.profile[idx(i)];
        const RaySight& s = job.sights[idx(i)];
        sample.angle_deg = i;
        const bool edge = has_edge(job, idx(i));
        if (job.hidden[idx(i)])
            sample.reason = GapReason::hidden;
        else if (job.own[idx(i)])
            sample.reason = GapReason::own;
        else if (s.neighbour) {
            sample = {static_cast<double>(i), s.first - job.wall.radius_px[idx(i)], 0.3, GapReason::measured};
        } else if (edge && (job.ring.followed[idx(i)] || job.local[idx(i)].ok)) {
            GapOfRay gap = gap_on(job, i, contour);
            const double common = gap.slope.dot(job.covariance * gap.slope);
            const double along = job.wall.round ? gap.gap_px : [&] {
                const double rho =
                    job.ring.followed[idx(i)] ? contour.along(ray_direction(i)) : job.local[idx(i)].rho_px;
                return rho - job.wall.radius_px[idx(i)];
            }();
            sample.gap_px = std::max(0.0, along);
            sample.u_px = std::sqrt(std::max(common, 0.0) + gap.u_own_px * gap.u_own_px);
            sample.reason = GapReason::measured;
            if (!(job.runs_on && s.label == job.patch.wall_label)) job.gaps.push_back(std::move(gap));
        } else
            sample.reason = s.own_to_the_end ? GapReason::own : GapReason::none;
    }
}

// ---- states
// -------------------------------------------------------------------------------------------------------

void mark_touching(Job& job, const Smallest& smallest) {
    KeepOut& keepout = job.hole.keepout;
    RayFlags touching{};
    for (const GapOfRay& gap : job.gaps) {
        const double common = gap.slope.dot(job.covariance * gap.slope);
        const double u = std::sqrt(std::max(common, 0.0) + gap.u_own_px * gap.u_own_px);
        if (gap.gap_px < u) touching[idx(gap.ray)] = true;
    }
    keepout.state = KeepOutState::touching;
    keepout.touching_arcs = arcs_of(touching);
    keepout.largest_gap_not_excluded_px = std::max({smallest.high_px, 1.645 * smallest.u_px, 0.02});
    keepout.min_px = Estimate::of(0, keepout.largest_gap_not_excluded_px / 2);
    keepout.p_low_px = 0;
}

void add_budget(Job& job, const Smallest& smallest) {
    std::vector<BudgetLine>& lines = job.hole.budget_px;
    const auto add = [&](const char* component, double variance) {
        const double total = smallest.u_px * smallest.u_px;
        lines.push_back({"keepout_min_px", component, std::sqrt(std::max(0.0, variance)),
                         total > 0 ? std::clamp(variance / total, 0.0, 1.0) : 0});
    };
    const auto gap = std::find_if(job.gaps.begin(), job.gaps.end(),
                                  [&](const GapOfRay& g) { return g.ray == smallest.ray; });
    const Eigen::Index n = job.covariance.rows() - 3;
    const Eigen::VectorXd tail = gap->slope.tail(3);
    add("hole edge", tail.dot(job.covariance.bottomRightCorner(3, 3) * tail));
    double noise = gap->u_own_px * gap->u_own_px;
    if (n > 0 && job.ring.followed[idx(smallest.ray)]) {
        const StepModel& model = job.ring.steps.model;
        const int first = model.contour_index(0), shift = model.shift_index(), blur = model.blur_index();
        const double widen = std::max(1.0, job.ring.steps.chi2) * std::max(1.0, job.map.noise.correlation);
        // Variance with everything from index `from` on free: contours alone, then the wall and the blur as
        // well.
        const auto with = [&](int from) {
            const Eigen::Index m = n - from;
            const Eigen::VectorXd f = gap->slope.segment(from, m);
            return widen * f.dot(job.ring.steps.information.bottomRightCorner(m, m).ldlt().solve(f));
        };
        const double contours = with(first), and_wall = with(shift), and_blur = with(blur), all = with(0);
        noise += and_wall;
        (void)contours;
        add("blur", and_blur - and_wall);
        add("level choice", all - and_blur);
    }
    add("noise", noise);
}

void settle(Job& job) {
    KeepOut& keepout = job.hole.keepout;
    keepout.own_outer_px = job.land_px;
    keepout.searched_to_px = job.reach_px - 8 + job.wall.largest_px;
    if (job.runs_on) {
        keepout.state = KeepOutState::runs_on;
        keepout.runs_on_arcs = arcs_of(job.joined_arc);
        keepout.min_px = Estimate::missing("own copper runs on into all copper seen round the hole");
    }
    if (job.gaps.empty()) {
        if (job.runs_on) return;
        const auto dark = std::count(job.hidden.begin(), job.hidden.end(), true);
        keepout.state = dark > rays / 2 ? KeepOutState::undecided : KeepOutState::none_in_view;
        keepout.why = dark > rays / 2 ? "something dense hides most of the turn" : "";
        keepout.min_px =
            Estimate::missing(keepout.why.empty() ? "no copper within the search radius" : keepout.why);
        return;
    }
    const Smallest smallest = smallest_gap(job.gaps, job.covariance, job.options.confidence,
                                           job.options.bootstrap_draws, job.seed());
    keepout.min_angle_deg = smallest.ray;
    double mean = 0;
    for (const GapOfRay& gap : job.gaps)
        mean += std::max(0.0, gap.gap_px) / static_cast<double>(job.gaps.size());
    keepout.mean_px = Estimate::of(mean, smallest.u_px);
    add_budget(job, smallest);
    if (!job.plated && smallest.low_px <= 0) {
        if (smallest.high_px < std::max(2.4 * job.levels.blur_px, 3.0)) return mark_touching(job, smallest);
        keepout.state = KeepOutState::undecided;
        keepout.why = "noise hides whether copper touches the wall";
        keepout.min_px = Estimate::missing(keepout.why);
        return;
    }
    if (!job.runs_on) keepout.state = KeepOutState::ring_seen;
    keepout.min_px = Estimate::of(std::max(0.0, smallest.value_px), smallest.u_px);
    keepout.p_low_px = std::max(0.0, smallest.low_px);
}

void give_up(Hole& hole, std::string why) {
    hole.keepout = KeepOut{};
    hole.keepout.why = why;
    hole.keepout.min_px = Estimate::missing(std::move(why));
}

} // namespace
} // namespace rings

void measure_ring(const TransmissionMap& map, const MaterialMap& materials, Hole& hole,
                  std::span<const Hole> neighbours, const RingOptions& options) {
    using namespace rings;
    hole.keepout = KeepOut{};
    if (hole.kind == HoleKind::slot) return give_up(hole, "a slot: its ring is not measured");
    if (hole.wall.state == WallState::undecided) return give_up(hole, "plated or bare is undecided");
    Job job{.map = map, .hole = hole, .neighbours = neighbours, .options = options};
    job.levels = ring_levels(map, materials);
    if (!job.levels.why_not.empty()) return give_up(hole, job.levels.why_not);
    job.wall = wall_line(hole);
    if (!job.wall.valid) return give_up(hole, "the hole's wall was not measured");
    job.plated = hole.wall.state != WallState::bare;
    job.wall_zone_px = (job.plated ? 3.0 : 2.0) * job.levels.blur_px;
    look_around(job);
    find_own_copper(job);
    fit_contour(job);
    fit_local(job);
    fill_profile(job);
    settle(job);
    if (hole.kind == HoleKind::via) hole.keepout.profile.clear();
}

} // namespace ringwall
