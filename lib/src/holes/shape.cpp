// SPDX-License-Identifier: Apache-2.0
#include "holes/shape.hpp"

#include "core/arcs.hpp"
#include "core/circle_fit.hpp"
#include "core/special.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {

namespace {

constexpr double round_tail = 0.01; // chance of calling a true circle out of round, of the chi-square test
constexpr double window_z = 4.5;   // significance of the worst window: same chance over a few hundred windows
constexpr double least_seen = 0.4; // share of the turn below which a shape is not judged
constexpr double least_part_px = 7.5;          // run of hidden rim beyond which something lies in front
constexpr double close_copper_floor_px = 0.35; // copper close to a bare wall trades with its edge
constexpr double peak_z = 4;                   // of the furthest departure, the worst of some hundred bins
constexpr double least_missing_deg = 8;        // shorter breaks of a wall are noise or a spoke's shadow
constexpr int least_cut_bins = 2;              // of 1.5 px each: air behind the wall is no noise

Point on_ray(Point centre, double angle_deg, double radius) {
    const double a = angle_deg * std::numbers::pi / 180;
    return {centre.x + radius * std::cos(a), centre.y - radius * std::sin(a)};
}

/// Signed departures of the bins from the hole's circle, along the ray from its centre.
std::vector<double> departures(const std::vector<RimBin>& bins, Point traced_from, Point centre,
                               double radius) {
    std::vector<double> out;
    for (const RimBin& b : bins) {
        const Point p = on_ray(traced_from, b.angle_deg, b.radius_px);
        out.push_back(b.seen ? std::hypot(p.x - centre.x, p.y - centre.y) - radius : 0.0);
    }
    return out;
}

/// What may speak for a rim out of round, and how far each bin's edge may be off for the model's own reasons.
struct Witnesses {
    std::vector<bool> heard;      ///< bins seen, and not beside something that hides a stretch of the rim
    std::vector<double> floor_px; ///< radial, k = 1
    bool part_in_front = false;
};

/// Runs of hidden bins from `least` on hide by something in front; shorter ones are corners that no edge
/// fits.
std::vector<bool> behind_parts(const std::vector<RimBin>& bins, std::size_t least) {
    const std::size_t n = bins.size();
    std::vector<bool> out(n);
    for (std::size_t i = 0; i < n; ++i) {
        std::size_t run = 0;
        while (run < n && !bins[(i + run) % n].seen)
            ++run;
        if (run >= least)
            for (std::size_t k = 0; k < run; ++k)
                out[(i + k) % n] = true;
    }
    return out;
}

Witnesses witnesses_of(const std::vector<RimBin>& bins, const RimTracing& tracing, double floor_px) {
    const std::size_t n = bins.size();
    const RimModel& model = tracing.fit.model;
    const double sigma = tracing.shared.sigma_px,
                 arc_px = 2 * std::numbers::pi * model.radius_px / static_cast<double>(n);
    const std::vector<bool> hidden =
        behind_parts(bins, static_cast<std::size_t>(std::floor(least_part_px / arc_px)) + 1);
    const auto reach = static_cast<std::size_t>(std::ceil(2.5 * sigma / arc_px)) + 1;
    Witnesses out{std::vector<bool>(n), std::vector<double>(n, floor_px), false};
    for (std::size_t i = 0; i < n; ++i) {
        bool beside = false;
        for (std::size_t k = 0; k <= reach && !beside; ++k)
            beside = hidden[(i + k) % n] || hidden[(i + n - k % n) % n];
        out.heard[i] = bins[i].seen && !beside;
        out.part_in_front = out.part_in_front || hidden[i];
        const double a = bins[i].angle_deg * std::numbers::pi / 180;
        const auto sector = static_cast<std::size_t>(model.sector_of(std::cos(a), -std::sin(a)));
        const bool copper_close =
            !model.plated && model.sectors[sector].has_step && model.gap_of(sector) < 2.5 * sigma;
        if (copper_close) out.floor_px[i] = std::max(floor_px, close_copper_floor_px);
    }
    return out;
}

/// Largest |mean departure| in its own uncertainty, over windows of several widths.
double worst_window_z(const std::vector<RimBin>& bins, const std::vector<double>& d,
                      const Witnesses& witnesses) {
    const int n = static_cast<int>(bins.size());
    double worst = 0;
    for (int width : {2, 4, 8, 16}) {
        if (width > n / 3) break;
        for (int k = 0; k < n; ++k) {
            double sum = 0, weight = 0, floor = 0;
            for (int j = 0; j < width; ++j) {
                const auto i = static_cast<std::size_t>((k + j) % n);
                if (!witnesses.heard[i]) continue;
                const double w = 1 / (bins[i].u_px * bins[i].u_px);
                sum += w * d[i], weight += w;
                floor = std::max(floor, witnesses.floor_px[i]);
            }
            if (weight > 0)
                worst = std::max(worst, std::abs(sum / weight) / std::hypot(1 / std::sqrt(weight), floor));
        }
    }
    return worst;
}

bool departs_from_circle(const std::vector<RimBin>& bins, const std::vector<double>& d,
                         const Witnesses& witnesses) {
    double chi2 = 0;
    int dof = -3;
    for (std::size_t i = 0; i < bins.size(); ++i)
        if (witnesses.heard[i]) {
            const double z = d[i] / std::hypot(bins[i].u_px, witnesses.floor_px[i]);
            chi2 += std::min(z * z, 16.0), ++dof;
        }
    if (dof < 5) return false;
    return chi2 > chi_square_upper(dof, round_tail) * 1.15 || worst_window_z(bins, d, witnesses) > window_z;
}

/// Fills what departs; false when no stretch outward stands out of its own uncertainty (and, where a part
/// hides some of the rim, by a pixel): nothing then that a finger could be put on.
bool fill_worn(const std::vector<RimBin>& smooth, const std::vector<double>& d, const Witnesses& witnesses,
               Hole& hole) {
    const double bin_rad = 2 * std::numbers::pi / static_cast<double>(smooth.size());
    std::vector<bool> outward(smooth.size());
    double area = 0, area_var = 0, peak = 0, u_peak = 0;
    for (std::size_t i = 0; i < smooth.size(); ++i) {
        const double u = std::hypot(smooth[i].u_px, witnesses.floor_px[i]);
        if (!witnesses.heard[i] || std::abs(d[i]) < 2 * u) continue;
        outward[i] = d[i] > 2 * u && d[i] > 0.25;
        area += std::abs(d[i]) * smooth[i].radius_px * bin_rad;
        area_var +=
            u * u * std::pow(smooth[i].radius_px * bin_rad, 2) * 3; // neighbouring smoothed bins share pixels
        if (d[i] > peak) peak = d[i], u_peak = u;
    }
    hole.worn_arcs = arcs_from_flags(outward);
    if (hole.worn_arcs.empty() || peak < peak_z * u_peak || (witnesses.part_in_front && peak < 1))
        return false;
    hole.excess_px2 = Estimate::of(area, std::sqrt(area_var));
    hole.excess_px = Estimate::of(peak, u_peak);
    return true;
}

/// The bore of a hole out of round is the least-squares circle through the boundary of the air. Bins that
/// agree with the fitted circle count as lying on it: all pixels together know it better than one bin does,
/// and in faint pictures a bin's noise leans outward. Returns its radius, or `radius` where no circle fits.
double refit_circle(const std::vector<RimBin>& smooth, const Point& traced_from, double radius, Hole& hole) {
    std::vector<Point> points;
    std::vector<double> weights;
    for (const RimBin& b : smooth)
        if (b.seen) {
            const bool on_circle = std::abs(b.radius_px - radius) < 2 * b.u_px;
            points.push_back(on_ray(traced_from, b.angle_deg, on_circle ? radius : b.radius_px));
            weights.push_back(1);
        }
    const CircleFit c = fit_circle(points, weights);
    if (!c.ok) return radius;
    const double u = hole.bore_px.has_value() ? hole.bore_px.u() : 0.1;
    const double spread = 2 * c.rms / std::sqrt(static_cast<double>(points.size()));
    hole.centre_px = c.centre;
    hole.bore_px = Estimate::of(2 * c.radius, std::hypot(u, spread));
    hole.u_x_px = std::hypot(hole.u_x_px, spread / 2);
    hole.u_y_px = std::hypot(hole.u_y_px, spread / 2);
    return c.radius;
}

/// Lowest and highest departure from the circle, px; u of the highest; sum of squared u.
struct Extent {
    double lowest = 1e9, highest = -1e9, u_high = 0, noise2 = 0;
};

/// Fills `hole.contour`, by ascending angle as seen from the hole's centre.
Extent write_contour(const std::vector<RimBin>& smooth, const std::vector<double>& d,
                     const Point& traced_from, double radius, double floor_px, Hole& hole) {
    Extent extent;
    hole.contour.clear();
    for (std::size_t i = 0; i < smooth.size(); ++i) {
        if (!smooth[i].seen) continue;
        const Point p = on_ray(traced_from, smooth[i].angle_deg, smooth[i].radius_px);
        double angle = std::atan2(hole.centre_px.y - p.y, p.x - hole.centre_px.x) * 180 / std::numbers::pi;
        if (angle < 0) angle += 360;
        const double u = std::hypot(smooth[i].u_px, floor_px);
        hole.contour.push_back({angle, radius + d[i], u});
        extent.lowest = std::min(extent.lowest, d[i]);
        if (d[i] > extent.highest) extent.highest = d[i], extent.u_high = u;
        extent.noise2 += u * u;
    }
    std::sort(hole.contour.begin(), hole.contour.end(),
              [](const ContourPoint& a, const ContourPoint& b) { return a.angle_deg < b.angle_deg; });
    return extent;
}

/// How a bin's wall is missing: hardly any plating where it should be, or cut away, the air reaching behind
/// it.
enum class WallGap { none, thin, cut };

std::vector<WallGap> wall_gaps(const std::vector<RimBin>& bins, const RimModel& model) {
    const double full = model.wall_px, drill = model.drill_radius_px();
    std::vector<WallGap> gaps(bins.size(), WallGap::none);
    for (std::size_t i = 0; i < bins.size(); ++i) {
        const RimBin& b = bins[i];
        if (!b.seen) continue;
        const double u = std::max(b.u_wall_px, 1e-3);
        if (b.radius_px > drill + std::max(1.0, 3 * b.u_px) &&
            b.wall_px < 0.7 * full) // none follows the air there
            gaps[i] = WallGap::cut;
        else if (b.wall_px < 0.45 * full && full - b.wall_px > 3.5 * u)
            gaps[i] = WallGap::thin;
    }
    return gaps;
}

/// Bins that nothing tells of, up to three between two with a gap or two beside a cut: the corner of a bite,
/// where no edge fits.
std::vector<bool> joined_gaps(const std::vector<RimBin>& bins, const std::vector<WallGap>& gaps) {
    const std::size_t n = bins.size();
    std::vector<bool> out(n);
    for (std::size_t i = 0; i < n; ++i) {
        out[i] = gaps[i] != WallGap::none;
        if (bins[i].seen) continue;
        const auto within = [&](std::size_t from, std::size_t reach, auto test) {
            for (std::size_t k = 1; k <= reach; ++k)
                if (test(gaps[(i + from * k) % n])) return true;
            return false;
        };
        const auto any = [](WallGap g) { return g != WallGap::none; };
        const auto cut = [](WallGap g) { return g == WallGap::cut; };
        out[i] = (within(1, 3, any) && within(n - 1, 3, any)) || within(1, 2, cut) || within(n - 1, 2, cut);
    }
    return out;
}

void fill_missing(const std::vector<RimBin>& bins, const std::vector<WallGap>& gaps, HoleWall& wall) {
    std::vector<bool> cut(bins.size());
    for (std::size_t i = 0; i < bins.size(); ++i)
        cut[i] = gaps[i] == WallGap::cut;
    for (const Arc& arc : arcs_from_flags(joined_gaps(bins, gaps))) {
        int cuts = 0;
        for (std::size_t i = 0; i < bins.size(); ++i)
            cuts += cut[i] && contains(arc, bins[i].angle_deg);
        if (span_deg(arc) >= least_missing_deg || cuts >= least_cut_bins) wall.missing_arcs.push_back(arc);
    }
    const auto missing = [&](const RimBin& b) {
        return std::any_of(wall.missing_arcs.begin(), wall.missing_arcs.end(),
                           [&](const Arc& arc) { return contains(arc, b.angle_deg); });
    };
    const auto seen = std::count_if(bins.begin(), bins.end(), [](const RimBin& b) { return b.seen; });
    const auto gone =
        std::count_if(bins.begin(), bins.end(), [&](const RimBin& b) { return b.seen && missing(b); });
    wall.covered_fraction = seen > 0 ? static_cast<double>(seen - gone) / static_cast<double>(seen) : 0;
    wall.state = wall.missing_arcs.empty() ? WallState::plated : WallState::incomplete;
}

double u_of_radius(const Hole& hole) {
    return hole.bore_px.has_value() ? hole.bore_px.u() / 2 : 0.05;
}

/// The hole as one out of round; unchanged, and false, when it cannot be shown where.
bool take_worn(const SmoothRim& averaged, const std::vector<RimBin>& bins, const RimTracing& tracing,
               const Witnesses& witnesses, Hole& hole) {
    const Point traced_from = hole.centre_px;
    Hole worn = hole;
    const auto smooth = undo_rounding(averaged, bins, tracing);
    const double radius = refit_circle(smooth, traced_from, hole.bore_px.value_or(0) / 2, worn);
    const auto d = departures(smooth, traced_from, worn.centre_px, radius);
    const double floor = *std::min_element(witnesses.floor_px.begin(), witnesses.floor_px.end());
    const Extent extent = write_contour(smooth, d, traced_from, radius, floor, worn);
    if (worn.contour.empty() || !fill_worn(smooth, d, witnesses, worn)) return false;
    const double noise = std::sqrt(extent.noise2 / static_cast<double>(worn.contour.size()));
    // Peak to valley of pure noise is about 4 of its sigma over some dozens of independent windows.
    const double valley = extent.highest - extent.lowest, u_bore = u_of_radius(worn);
    worn.roundness_px =
        Estimate::of(std::sqrt(std::max(0.0, valley * valley - 16 * noise * noise)), 1.5 * noise);
    worn.furthest_void_px = Estimate::of(radius + extent.highest, std::hypot(extent.u_high, u_bore));
    worn.inscribed_px =
        Estimate::of(2 * (radius + std::min(0.0, extent.lowest + noise)), 2 * std::hypot(noise, u_bore));
    worn.shape = HoleShape::out_of_round;
    hole = std::move(worn);
    return true;
}

/// The hole as a circle: what departs is within noise, or cannot be shown.
void take_round(const std::vector<RimBin>& smooth, const std::vector<double>& d, double floor_px,
                Point traced_from, Hole& hole) {
    const double radius = hole.bore_px.value_or(0) / 2;
    const Extent extent = write_contour(smooth, d, traced_from, radius, floor_px, hole);
    if (hole.contour.empty()) return;
    const double noise = std::sqrt(extent.noise2 / static_cast<double>(hole.contour.size())),
                 u_bore = u_of_radius(hole);
    hole.roundness_px = Estimate::of(0, 2 * noise);
    hole.furthest_void_px = Estimate::of(radius, std::hypot(u_bore, noise));
    hole.inscribed_px = Estimate::of(2 * radius, std::hypot(2 * u_bore, noise));
    if (hole.shape == HoleShape::undecided) {
        hole.excess_px = hole.excess_px2 = Estimate::missing("whether the hole is out of round is undecided");
        return;
    }
    hole.excess_px = Estimate::of(0, noise);
    hole.excess_px2 = Estimate::of(0, noise * 2 * std::numbers::pi * radius /
                                          std::sqrt(static_cast<double>(smooth.size())));
}

} // namespace

void judge_shape(const std::vector<RimBin>& bins, const RimTracing& tracing, double floor_px, Hole& hole) {
    const Point traced_from = hole.centre_px;
    const SmoothRim averaged = smooth_rim(bins);
    std::vector<bool> hidden(bins.size());
    int seen = 0;
    for (std::size_t i = 0; i < bins.size(); ++i)
        hidden[i] = !bins[i].seen, seen += bins[i].seen;
    hole.seen_fraction = static_cast<double>(seen) / static_cast<double>(bins.size());
    hole.hidden_arcs = arcs_from_flags(hidden);

    const Witnesses witnesses = witnesses_of(bins, tracing, floor_px);
    const double radius = hole.bore_px.value_or(0) / 2;
    const auto raw = departures(bins, traced_from, hole.centre_px, radius);
    const bool judged = hole.seen_fraction >= least_seen;
    const bool departs = judged && departs_from_circle(bins, raw, witnesses);
    if (departs && take_worn(averaged, bins, tracing, witnesses, hole)) return;
    hole.shape = judged && !departs ? HoleShape::round : HoleShape::undecided;
    take_round(averaged.bins, departures(averaged.bins, traced_from, hole.centre_px, radius), floor_px,
               traced_from, hole);
}

void judge_wall(const std::vector<RimBin>& bins, const RimChoice& choice, bool halo_can_fake, Hole& hole) {
    HoleWall& wall = hole.wall;
    if (hole.seen_fraction < 0.2) {
        wall.state = WallState::undecided;
        wall.why = "too little of the turn is seen";
        return;
    }
    if (!choice.decided) {
        wall.state = WallState::undecided;
        wall.why =
            !choice.why.empty()
                ? choice.why
                : "the rim is darker than the board behind it by less than this picture can tell from noise";
        return;
    }
    if (!choice.is_plated) {
        wall.state = WallState::bare;
        return;
    }
    if (halo_can_fake) {
        wall.state = WallState::undecided;
        wall.why = "the picture is sharpened: its halo puts a dark rim round bare holes too";
        return;
    }
    const auto smooth = smooth_rim(bins).bins;
    fill_missing(smooth, wall_gaps(smooth, choice.plated.model), wall);
}

} // namespace ringwall
