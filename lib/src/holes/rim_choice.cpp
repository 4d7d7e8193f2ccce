// SPDX-License-Identifier: Apache-2.0
#include "holes/rim_choice.hpp"

#include "holes/narrow_gap.hpp"
#include "holes/rim_behind.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {

namespace {

constexpr double gap_gain = 6.0; // chi-square that a gap must bring, besides 1 for each that is free
constexpr double blur_before_change = 0.75; // sigmas by which a change's blur reaches in before it is noticed
/// Sigmas of plateau that fix the outside level of a bare hole, and of a plated one, whose wall trades with
/// it.
constexpr double enough_flat = 2.25, enough_flat_plated = 2.8;
constexpr double tight_ring_px = 0.05, loose_ring_px = 1.5; // departures of a sector's gap from the ring's
constexpr double stranger_misfit = 2.0;    // chi-square a pixel of a sector that something lies in front of
constexpr double outside_u = 0.06;         // how far the first look at the level behind plating can be wrong
constexpr int plated_near = 4;             // first half sigma behind plating that its blur leaves alone
constexpr double narrow_band_sigmas = 2.6; // before steps are known: most pads are wider
constexpr double plated_z = 5.0;           // significance that a wall must have
constexpr int far_from = 6, far_to = 10;   // half sigmas behind the wall: beyond a close land
constexpr double misfit_z = 4.0;           // unexplained rest of a plated reading that asks for another
constexpr double least_land_px = 1.5;      // a narrower one is the plating itself, where pixels are coarse
constexpr double sure_z = 2.0;             // the same where the pixels allow no other reading
constexpr double least_dark = 0.02;        // T below laminate that tells of copper close to the wall
constexpr double uneven_laminate =
    0.015;                             // by which a hole's laminate may differ from the picture's own level
constexpr double clear_of_noise = 2.0; // step from air to laminate, in noise of a pixel (rays average 20)
constexpr double uneasy_z = 1.5;       // chi-square above its expectation, in its own scatter
constexpr double asleep_sigmas = 0.25; // a wall thinner than this may be the descent's doing
constexpr double least_wall_px =
    0.12; // thinner is a level a little wrong, not plating (10 um at 80 um a pixel)
constexpr double far_share = 0.3, far_sigmas = 3; // of the radius, and of the blur: no first look is so wrong
constexpr double bare_z = 3.0;                    // below this there is no wall to speak of
// A wall much thinner than the blur darkens the rim as a smaller bore does; only the square of its thickness
// shows. At this share of the blur its thickness over its u stands for half as many sigmas.
constexpr double thin_sigmas = 0.25, thin_plated_z = 2.5, thin_bare_z = 2.0;
constexpr double no_plating_sigmas = 0.2; // below 20 um (least of IPC-6012 class 2) for a blur up to 0.1 mm

double median(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

/// Puts a step into the sector where its profile, or else the whole turn's, changes level; where the level
/// holds far enough first, the band ends before the change instead: what is not fitted cannot be fitted
/// wrongly.
void put_step(RimSector& s, const Behind& b, int change, double sigma, double enough) {
    s.band_px = rim_band_sigmas * sigma;
    if (change < 0) return;
    const double flat_sigmas = 0.5 * change - blur_before_change;
    if (flat_sigmas >= enough) {
        s.band_px = std::min(rim_band_sigmas, flat_sigmas) * sigma;
        return;
    }
    s.has_step = true;
    s.gap_px = s.gap_expected_px = (0.5 * change - 0.25) * sigma;
    const int from = std::min(change + 1, Behind::bins - 2);
    s.beyond = s.beyond_expected = b.pixels(from, Behind::bins) > 0
                                       ? b.mean(from, std::min(from + 4, Behind::bins))
                                       : b.mean(change, change + 1);
    s.band_px = std::max(s.band_px, s.gap_px + 1.3 * sigma);
}

/// The earlier of two changes, -1 being none.
int earlier(int a, int b) {
    return a < 0 ? b : b < 0 ? a : std::min(a, b);
}

int sectors_for(double radius) {
    return std::clamp(static_cast<int>(2 * std::numbers::pi * radius / 9), 8, 40);
}

/// A sector is hidden when the rays in it do not find air ending near the circle.
void mark_hidden(RimModel& model, const RimStart& start, double sigma) {
    std::vector<int> good(model.sectors.size()), all(model.sectors.size());
    for (const RimRay& ray : start.rays) {
        const double a = ray.angle_deg * std::numbers::pi / 180;
        const auto k = static_cast<std::size_t>(model.sector_of(std::cos(a), -std::sin(a)));
        ++all[k];
        if (ray.found && std::abs(ray.radius_px - start.radius_px) < std::max(2.0, 2 * sigma)) ++good[k];
    }
    for (std::size_t k = 0; k < model.sectors.size(); ++k)
        if (all[k] > 0) model.sectors[k].used = 2 * good[k] >= all[k];
    const auto hidden = model.sectors;
    for (std::size_t k = 0; k < hidden.size(); ++k) // what hides a sector reaches into the next
        if (!hidden[k].used) {
            model.sectors[(k + 1) % hidden.size()].used = false;
            model.sectors[(k + hidden.size() - 1) % hidden.size()].used = false;
        }
}

/// The dark ring's middle and depth give a wall to start from: blurred, a wall of t px is about t/(2.5 sigma)
/// of its full depth deep and stands at its own middle, while the half level of the bright side stands well
/// inside of it.
void start_wall(const RimStart& start, const RimShared& shared, RimModel& model) {
    std::vector<double> depth, place, plateau;
    for (const RimRay& ray : start.rays)
        if (ray.found) {
            depth.push_back((ray.plateau - ray.deepest) / std::max(ray.plateau - shared.barrel, 0.05));
            place.push_back(ray.deepest_px);
            plateau.push_back(ray.plateau);
        }
    if (place.empty()) return;
    // The air's own blurred edge fills the dip: start from twice of what it shows, and never from nothing.
    model.wall_px = std::clamp(5.0 * shared.sigma_px * median(depth), 0.5, 4.0);
    model.radius_px = std::max(1.5, median(place) - 0.5 * model.wall_px);
    model.outside = median(plateau);
}

RimModel model_from(const RimStart& start, const RimShared& shared, bool plated) {
    RimModel model;
    model.centre_px = start.centre_px;
    model.radius_px = start.radius_px;
    model.plated = plated;
    model.open = start.open;
    model.sectors.resize(static_cast<std::size_t>(sectors_for(start.radius_px)));
    mark_hidden(model, start, shared.sigma_px);
    if (plated) start_wall(start, shared, model);
    return model;
}

Behind whole_turn(const RimModel& model, const std::vector<Behind>& sectors) {
    Behind all;
    for (std::size_t k = 0; k < sectors.size(); ++k)
        if (model.sectors[k].used) all.add(sectors[k]);
    return all;
}

/// Bins of the near zone: behind the blur of a bare wall's edge, before most rings end.
constexpr int near_from = 3, near_to = 5;

/// Level of a bare hole's surroundings: laminate when the brightest sectors agree with the picture's own
/// level for it, which tells a narrow ring (copper near the wall already) from a wide one.
///
/// `near_u`: what noise makes of one sector's level.
void set_bare_level(const MaterialLevels& levels, std::vector<double> near, double near_u, RimModel& model,
                    RimBelief& belief) {
    std::sort(near.begin(), near.end());
    model.outside = near[near.size() / 2];
    if (!levels.laminate) return;
    const double brightest = near[near.size() - 1 - near.size() / 6], laminate = levels.laminate.value();
    const bool sees_laminate = std::abs(brightest - laminate) < uneven_laminate + 3 * near_u;
    model.outside = sees_laminate ? std::max(brightest, laminate - 0.02) : laminate;
    belief.outside = laminate;
    belief.outside_u = std::max(0.01, 3 * levels.laminate.u());
}

/// Puts plateaus and steps into a bare hole's sectors.
RimBelief furnish(ImageView<const float> t, const NoiseModel& noise, const MaterialLevels& levels,
                  double sigma, RimModel& model) {
    const auto behind = look_behind(t, model, sigma);
    std::vector<double> near;
    double pixels = 0;
    for (std::size_t k = 0; k < behind.size(); ++k)
        if (behind[k].pixels(near_from, near_to) < 3)
            model.sectors[k].used = false;
        else if (model.sectors[k].used) {
            near.push_back(behind[k].mean(near_from, near_to));
            pixels += behind[k].pixels(near_from, near_to);
        }
    RimBelief belief{.open = levels.open.value_or(1.0), .gap_u_px = 2 * sigma};
    if (near.empty()) return belief;
    const double noise_near = noise.sigma(std::max(near.front(), 0.01));
    set_bare_level(levels, near,
                   noise_near / std::sqrt(std::max(pixels / static_cast<double>(near.size()), 1.0)), model,
                   belief);
    const int common = first_change(whole_turn(model, behind), near_from, noise_near);
    std::vector<double> spread;
    for (std::size_t k = 0; k < behind.size(); ++k) {
        RimSector& s = model.sectors[k];
        if (!s.used) continue;
        const double a = behind[k].mean(near_from, near_to);
        const double e = noise_near / std::sqrt(behind[k].pixels(near_from, near_to));
        if (a < model.outside - std::max(step_significance * e, least_step)) { // copper near the wall already
            s.has_step = true;
            s.gap_free = false;
            s.beyond = s.beyond_expected = std::min(a, behind[k].mean(near_to, near_to + 2));
            s.band_px = rim_band_sigmas * sigma;
            continue;
        }
        const int own = first_change(behind[k], near_from, noise_near);
        put_step(s, behind[k], earlier(own, common), sigma, enough_flat);
        spread.push_back(std::abs(a - model.outside) - e);
    }
    belief.lift_u = std::clamp(1.48 * median(std::move(spread)), 0.002, 0.05);
    return belief;
}

/// Frees the gaps of all sectors that show copper near the wall, as one ring; `stepped` takes those in that
/// have found a step of their own.
int free_ring(RimModel& model, double start_px, bool stepped) {
    int freed = 0;
    for (RimSector& s : model.sectors)
        if (s.used && s.has_step && (stepped || !s.gap_free))
            s.gap_free = s.in_ring = true, s.gap_px = 0, ++freed;
    model.ring_gap_px = start_px;
    return freed;
}

struct Reading {
    RimFit fit;
    RimBelief belief;
    double narrow_gap_u_px = 0; ///< of the radius
};

/// Touching all along is the first reading of copper near a bare wall; a gap must earn its place: first one
/// gap for the whole ring (narrow and concentric), then a round ring off the hole's centre (which may touch
/// on one side), then a gap that goes with the sector (a ring worn through over an arc).
///
/// All are fitted to the pixels that `frame` takes: chi-squares of other pixels cannot be compared.
void loosen_ring(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                 const RimFrame& frame, Reading& reading) {
    RimModel ring = reading.fit.model;
    const int count = free_ring(ring, 0.8 * shared.sigma_px, false);
    if (count == 0) return;
    RimBelief belief = reading.belief;
    const auto gains = [&](const RimFit& fit, double price) {
        return fit.chi2 + price * std::max(1.0, fit.chi2_per_dof()) < reading.fit.chi2;
    };
    belief.ring_gap_u_px = tight_ring_px;
    const RimFit even = fit_rim(t, noise, ring, shared, belief, &frame);
    if (gains(even, gap_gain)) reading.fit = even, reading.belief = belief;
    ring.ring_eccentric = true;
    free_ring(ring, 1.5 * shared.sigma_px, true);
    const RimFit eccentric = fit_rim(t, noise, ring, shared, belief, &frame);
    if (gains(eccentric, gap_gain + 2)) reading.fit = eccentric, reading.belief = belief;
    belief.ring_gap_u_px = loose_ring_px;
    const RimFit uneven = fit_rim(t, noise, reading.fit.model.ring_gap_px > 0 ? reading.fit.model : ring,
                                  shared, belief, &frame);
    if (gains(uneven, gap_gain + count)) reading.fit = uneven, reading.belief = belief;
}

/// The first look where copper may lie close on one side and laminate on the other: the edge sought half way
/// down to laminate, if noise lets that level be told from the air.
RimStart bare_start(ImageView<const float> t, const NoiseModel& noise, const RimStart& start, double sigma,
                    const MaterialLevels& levels) {
    if (!levels.laminate || start.radius_px < 5 * sigma) return start; // blur leaves a small core no level
    std::vector<double> plateaus;
    for (const RimRay& ray : start.rays)
        if (ray.found) plateaus.push_back(ray.plateau);
    const double laminate = levels.laminate.value(), open = levels.open.value_or(1.0);
    const bool copper_close = median(std::move(plateaus)) < laminate - least_dark;
    if (!copper_close || open - laminate < clear_of_noise * noise.sigma(open)) return start;
    const HoleCandidate candidate{.centre_px = start.centre_px, .radius_px = start.radius_px};
    RimStart again = look_at_rim(t, candidate, sigma, open, laminate);
    return again.usable ? again : start;
}

/// Leaves out the sectors that fit much worse than the hole does elsewhere (a lead, solder, text in front)
/// and fits again. True when some were left out and at least a third of the turn remains.
bool drop_strangers(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                    Reading& reading) {
    RimModel model = reading.fit.model;
    std::vector<double> used;
    for (std::size_t k = 0; k < model.sectors.size(); ++k)
        if (model.sectors[k].used) used.push_back(reading.fit.sector_misfit[k]);
    if (used.empty()) return false;
    const double limit = std::max(stranger_misfit, 2 * median(used));
    std::size_t left = 0, dropped = 0;
    for (std::size_t k = 0; k < model.sectors.size(); ++k) {
        RimSector& s = model.sectors[k];
        if (s.used && reading.fit.sector_misfit[k] > limit) s.used = false, ++dropped;
        left += s.used;
    }
    if (dropped == 0 || 3 * left < model.sectors.size()) return false;
    reading.fit = fit_rim(t, noise, model, shared, reading.belief);
    return true;
}

/// Whether a fit leaves more than its noise unexplained, by so many times the scatter of chi-square.
bool leaves_more(const RimFit& fit, double z) {
    const int dof = std::max(fit.pixels - fit.parameters, 1);
    return fit.chi2 > dof + z * std::sqrt(2.0 * dof);
}

/// What lies behind the wall is brighter than laminate, by more than this share of the step to the air. A rim
/// far from a circle lets the descent rest inside the air so, the true edge read as a step of each sector.
bool brighter_than_board(const MaterialLevels& levels, const RimFit& fit, double share) {
    if (!levels.laminate) return false;
    const double laminate = levels.laminate.value();
    return fit.model.outside > laminate + share * (levels.open.value_or(1.0) - laminate);
}

/// The best circle of a rim that is none: laminate all round, no steps.
Reading read_plain(ImageView<const float> t, const NoiseModel& noise, const RimStart& start,
                   const RimShared& shared, const MaterialLevels& levels) {
    Reading reading;
    RimModel model = model_from(start, shared, false);
    model.outside = levels.laminate.value();
    reading.belief = {.open = levels.open.value_or(1.0), .outside = model.outside, .outside_u = 1e-3};
    for (RimSector& s : model.sectors)
        s.band_px = enough_flat * shared.sigma_px;
    reading.fit = fit_rim(t, noise, model, shared, reading.belief);
    return reading;
}

Reading read_bare(ImageView<const float> t, const NoiseModel& noise, const RimStart& start,
                  const RimShared& shared, const MaterialLevels& levels) {
    Reading reading;
    RimModel model = model_from(bare_start(t, noise, start, shared.sigma_px, levels), shared, false);
    reading.belief = furnish(t, noise, levels, shared.sigma_px, model);
    const RimFrame frame{model, shared};
    reading.fit = fit_rim(t, noise, model, shared, reading.belief, &frame);
    if (brighter_than_board(levels, reading.fit, 0.1) && leaves_more(reading.fit, misfit_z))
        return read_plain(t, noise, start, shared, levels);
    loosen_ring(t, noise, shared, frame, reading);
    reading.fit = fit_rim(t, noise, reading.fit.model, shared, reading.belief);
    for (int round = 0; round < 2 && drop_strangers(t, noise, shared, reading); ++round) {
    }
    reading.narrow_gap_u_px = narrow_gap_u(t, noise, shared, reading.fit, reading.belief);
    return reading;
}

/// A land's edge so close behind the plating that no plateau shows before it leaves a fit without steps ill
/// at ease: tried with a step two sigma behind the wall in every sector.
void try_close_land(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                    Reading& reading) {
    if (!leaves_more(reading.fit, misfit_z)) return;
    RimModel model = reading.fit.model;
    const auto behind = look_behind(t, model, shared.sigma_px);
    for (std::size_t k = 0; k < behind.size(); ++k) {
        RimSector& s = model.sectors[k];
        if (!s.used || s.has_step || behind[k].pixels(far_from, far_to) < 3) continue;
        s.has_step = true;
        s.gap_px = s.gap_expected_px = std::max(2 * shared.sigma_px, least_land_px);
        s.gap_least_px = std::max(shared.sigma_px, least_land_px);
        s.beyond = s.beyond_expected = behind[k].mean(far_from, far_to);
        s.band_px = rim_band_sigmas * shared.sigma_px;
    }
    const RimFit stepped = fit_rim(t, noise, model, shared, reading.belief);
    if (stepped.converged && stepped.chi2_per_dof() < 0.95 * reading.fit.chi2_per_dof())
        reading.fit = stepped;
}

/// A thin wall in front of dense copper darkens a rim almost as a smaller bore does, and a wall of nothing is
/// a resting place of the descent: tried again from a wall of `sigma`, the bore moved so that as much light
/// passes.
void wake_wall(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared, Reading& reading) {
    RimModel model = reading.fit.model;
    const double step = model.open - model.outside, deep = model.outside - shared.barrel;
    if (model.wall_px > asleep_sigmas * shared.sigma_px || step < 0.02 || deep < 0.02) return;
    if (!leaves_more(reading.fit, uneasy_z)) return;
    const double more = 0.8 * shared.sigma_px;
    model.radius_px = std::max(1.5, model.radius_px + std::min(more * deep / step, more));
    model.wall_px += more;
    const RimFit again = fit_rim(t, noise, model, shared, reading.belief);
    if (again.converged && again.chi2_per_dof() < reading.fit.chi2_per_dof()) reading.fit = again;
}

/// First without steps in a narrow band, so that the wall finds its place; then a step wherever the levels
/// further out leave the plateau, in the whole band.
Reading read_plated(ImageView<const float> t, const NoiseModel& noise, const RimStart& start,
                    const RimShared& shared, const MaterialLevels& levels) {
    Reading reading;
    RimModel model = model_from(start, shared, true);
    reading.belief = {.open = levels.open.value_or(1.0),
                      .outside = model.outside,
                      .outside_u = outside_u,
                      .lift_u = 0.003,
                      .gap_u_px = 1.2 * shared.sigma_px};
    for (RimSector& s : model.sectors)
        s.band_px = narrow_band_sigmas * shared.sigma_px;
    reading.fit = fit_rim(t, noise, model, shared, reading.belief);
    wake_wall(t, noise, shared, reading);
    model = reading.fit.model;
    const auto behind = look_behind(t, model, shared.sigma_px);
    const double noise_near = noise.sigma(std::max(model.outside, 0.01));
    const int common = first_change(whole_turn(model, behind), plated_near, noise_near);
    std::vector<double> lifts;
    for (std::size_t k = 0; k < behind.size(); ++k) {
        RimSector& s = model.sectors[k];
        if (behind[k].pixels(plated_near, plated_near + 2) < 3) s.used = false;
        if (!s.used) continue;
        lifts.push_back(std::abs(behind[k].mean(plated_near, plated_near + 2) - model.outside));
        const int own = first_change(behind[k], plated_near, noise_near);
        put_step(s, behind[k], earlier(own, common), shared.sigma_px, enough_flat_plated);
        s.gap_least_px = std::max(1.5 * shared.sigma_px, least_land_px);
        s.gap_px = std::max(s.gap_px, s.gap_least_px);
    }
    reading.belief.lift_u = std::clamp(1.48 * median(std::move(lifts)) - noise_near / 3, 0.002, 0.05);
    reading.fit = fit_rim(t, noise, model, shared, reading.belief);
    for (int round = 0; round < 2 && drop_strangers(t, noise, shared, reading); ++round) {
    }
    try_close_land(t, noise, shared, reading);
    wake_wall(t, noise, shared, reading);
    return reading;
}

/// A plated reading whose wall came out as nothing is a bare one that asked less of the level behind the
/// wall; where it fits better than the bare reading did (a grey scale that is not the beam's), it is taken in
/// its place.
void take_empty_wall(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                     const Reading& plated, Reading& bare) {
    if (!plated.fit.converged || plated.fit.model.wall_px > least_wall_px) return;
    if (bare.fit.converged && bare.fit.pixels > 0 &&
        plated.fit.chi2_per_dof() > 0.7 * bare.fit.chi2_per_dof())
        return;
    RimModel model = plated.fit.model;
    model.plated = false, model.wall_px = 0;
    const RimFit again = fit_rim(t, noise, model, shared, plated.belief);
    if (again.converged && again.pixels > 0) bare = {again, plated.belief};
}

/// A descent that left the rim it began at has found something else: a part's corner, another hole.
void stay_near(const RimStart& start, double sigma, RimFit& fit) {
    const RimModel& model = fit.model;
    const double moved =
        std::hypot(model.centre_px.x - start.centre_px.x, model.centre_px.y - start.centre_px.y) +
        std::abs(model.radius_px - start.radius_px);
    if (moved > far_share * start.radius_px + far_sigmas * sigma) fit.converged = false;
}

/// The wall's own significance, within the reading that has one: the two readings see different pixels.
double wall_significance(const RimFit& plated) {
    return plated.model.wall_px / std::sqrt(std::max(plated.covariance(3, 3), 1e-12));
}

/// A thin wall against none, within the same pixels and freedom: by how many sigmas the wall fits better.
double thin_wall_significance(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                              const Reading& plated) {
    RimModel model = plated.fit.model;
    const RimFrame frame{model, shared};
    const RimFit with = fit_rim(t, noise, model, shared, plated.belief, &frame);
    model.plated = false, model.wall_px = 0;
    const RimFit without = fit_rim(t, noise, model, shared, plated.belief, &frame);
    const double scale = std::max(1.0, with.chi2_per_dof()) * noise.correlation;
    return std::sqrt(std::max(0.0, without.chi2 - with.chi2) / scale);
}

/// What a wall says that may be noise, or too thin to be plating.
struct ThinWall {
    bool may_be_plating = true, may_be_bare = false;
};

ThinWall judge_thin_wall(ImageView<const float> t, const NoiseModel& noise, const RimShared& shared,
                         const Reading& plated, double z) {
    const double wall = plated.fit.model.wall_px, sigma = shared.sigma_px;
    if (!plated.fit.converged || z < bare_z || wall > thin_sigmas * sigma) return {};
    const double shown = thin_wall_significance(t, noise, shared, plated);
    // wall^2 is what is measured, to within 2 wall u.
    const double thickest = std::sqrt(wall * wall + 4 * wall * std::sqrt(plated.fit.covariance(3, 3)));
    return {shown > thin_plated_z, shown < thin_bare_z && thickest < no_plating_sigmas * sigma};
}

} // namespace

RimChoice choose_rim(ImageView<const float> t, const NoiseModel& noise, const RimStart& start,
                     const RimShared& shared, const MaterialLevels& levels) {
    RimChoice choice;
    if (!start.usable) {
        choice.bare.model = model_from(start, shared, false);
        choice.plated.model = choice.bare.model;
        return choice;
    }
    Reading plated = read_plated(t, noise, start, shared, levels);
    stay_near(start, shared.sigma_px, plated.fit);
    const bool in_air = brighter_than_board(levels, plated.fit, 0.5);
    if (in_air) plated.fit.converged = false;
    const double z = plated.fit.converged ? wall_significance(plated.fit) : 0;
    const bool plain = z > 4 * plated_z && plated.fit.chi2_per_dof() < 1.5; // no other reading can do better
    Reading bare = plain ? plated : read_bare(t, noise, start, shared, levels);
    if (!plain) take_empty_wall(t, noise, shared, plated, bare);
    stay_near(start, shared.sigma_px, bare.fit);
    choice.bare = bare.fit;
    choice.plated = plated.fit;
    choice.wall_z = z;
    const bool bare_fits = bare.fit.converged && bare.fit.pixels > 0;
    const bool fits_better = !bare_fits || plated.fit.chi2_per_dof() < 1.3 * bare.fit.chi2_per_dof() + 0.2;
    const bool no_other = plated.fit.chi2_per_dof() < 1.5 && bare_fits &&
                          bare.fit.chi2_per_dof() > 2 * plated.fit.chi2_per_dof();
    const ThinWall thin = judge_thin_wall(t, noise, shared, plated, z);
    choice.is_plated = choice.wall_z > (no_other ? sure_z : plated_z) && thin.may_be_plating &&
                       plated.fit.model.wall_px > least_wall_px && fits_better;
    const double u_wall = plated.fit.converged ? std::sqrt(std::max(plated.fit.covariance(3, 3), 0.0)) : 0;
    const bool too_thin = plated.fit.converged && plated.fit.model.wall_px + 2 * u_wall < 1.5 * least_wall_px;
    const bool bare_stands =
        bare_fits && (in_air || bare.fit.chi2_per_dof() < 1.5 * plated.fit.chi2_per_dof() + 0.2);
    choice.decided =
        choice.is_plated || (bare_stands && (choice.wall_z < bare_z || too_thin || thin.may_be_bare));
    choice.belief = choice.is_plated ? plated.belief : bare.belief;
    choice.narrow_gap_u_px = choice.is_plated ? 0 : bare.narrow_gap_u_px;
    return choice;
}

} // namespace ringwall
