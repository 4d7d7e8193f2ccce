// SPDX-License-Identifier: Apache-2.0
#include "holes/rim_prediction.hpp"

#include "core/normal_table.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {

namespace {

using Column = RimRun::Column;

/// Where the pixels lie, and the two disks there.
struct Places {
    alignas(sizeof(Lanes)) Column ux, uy, rho; ///< direction and distance from the centre
    struct Disk {
        alignas(sizeof(Lanes)) Column value, d_rho, d_radius;
    };
    Disk inner, outer;
};

RINGWALL_WIDE void place(const double* x, const double* y, std::size_t count, Point centre, Places& places) {
    for (std::size_t i = 0; i < count; ++i) {
        const double dx = x[i] - centre.x, dy = y[i] - centre.y;
        const double rho = std::sqrt(dx * dx + dy * dy), inverse = rho > 1e-9 ? 1 / rho : 0.0;
        places.rho[i] = rho;
        places.ux[i] = dx * inverse;
        places.uy[i] = dy * inverse;
    }
}

RINGWALL_WIDE void look_up(const DiskProfile& profile, const Column& rho, std::size_t count,
                           Places::Disk& disk) {
    for (std::size_t i = 0; i < count; ++i) {
        const DiskProfile::Sample s = profile.at(rho[i]);
        disk.value[i] = s.value, disk.d_rho[i] = s.d_rho, disk.d_radius[i] = s.d_radius;
    }
}

/// What the formulas need of the model in one sector.
struct Levels {
    double open, outside, barrel, radius, drill, sigma;
};

/// dD/dsigma = sigma (D'' + D'/rho) by the heat equation; D'' from the leading behaviour of D'.
inline double by_sigma_of(double d_rho, double rho, double edge, double sigma) {
    return sigma * d_rho * (-(rho - edge) / (sigma * sigma) + 0.5 / std::max(rho, 0.5));
}

/// by_x stands for the slope along the radius until the end.
RINGWALL_WIDE void bare_slopes(const Places& places, const Levels& at, std::size_t count, RimRun& run) {
    for (std::size_t i = 0; i < count; ++i) {
        const double value = places.inner.value[i], d_rho = places.inner.d_rho[i];
        const double step = at.open - at.outside;
        run.value[i] = at.open * value + at.outside * (1 - value);
        run.by[by_x][i] = step * d_rho;
        run.by[by_radius][i] = step * places.inner.d_radius[i];
        run.by[by_open][i] = value;
        run.by[by_outside][i] = 1 - value;
        run.by[by_sigma][i] = step * by_sigma_of(d_rho, places.rho[i], at.radius, at.sigma);
    }
}

RINGWALL_WIDE void plated_slopes(const Places& places, const Levels& at, std::size_t count, RimRun& run) {
    const double down = at.open - at.barrel, up = at.barrel - at.outside;
    for (std::size_t i = 0; i < count; ++i) {
        const double inner = places.inner.value[i], outer = places.outer.value[i], rho = places.rho[i];
        const double d_inner = places.inner.d_rho[i], d_outer = places.outer.d_rho[i];
        const double outward = up * places.outer.d_radius[i];
        run.value[i] = at.open * inner + at.barrel * (outer - inner) + at.outside * (1 - outer);
        run.by[by_x][i] = at.open * d_inner + at.barrel * (d_outer - d_inner) - at.outside * d_outer;
        run.by[by_radius][i] = down * places.inner.d_radius[i] + outward;
        run.by[by_wall][i] = outward;
        run.by[by_open][i] = inner;
        run.by[by_outside][i] = 1 - outer;
        run.by[by_sigma][i] = down * by_sigma_of(d_inner, rho, at.radius, at.sigma) +
                              up * by_sigma_of(d_outer, rho, at.drill, at.sigma);
        run.by[by_barrel][i] = outer - inner;
    }
}

/// The step beyond the plateau is a nuisance: a straight edge with the first-order curvature shift is enough.
void add_step(const RimModel& model, const RimSector& s, const Places& places, const Levels& at,
              std::size_t count, RimRun& run) {
    const NormalTable& normal = NormalTable::get();
    const double step = s.beyond - at.outside;
    for (std::size_t i = 0; i < count; ++i) {
        const double gap_px = model.gap_at(s, places.ux[i], places.uy[i]), edge = at.drill + gap_px;
        const double z = (edge - at.sigma * at.sigma / (2 * edge) - places.rho[i]) / at.sigma;
        const NormalTable::Value inside = normal.at(z);
        const double behind = 1 - inside.cdf, slope = step * inside.pdf / at.sigma;
        const double by_edge = s.in_ring && gap_px <= 0 ? 0.0 : -slope;
        run.value[i] += step * behind;
        run.by[by_x][i] += slope;
        run.by[by_radius][i] -= slope;
        run.by[by_outside][i] -= behind;
        run.by[by_sigma][i] += slope * z;
        if (model.plated) run.by[by_wall][i] -= slope;
        run.by[by_gap][i] = by_edge;
        run.by[by_beyond][i] = behind;
        if (s.in_ring) {
            run.by[by_ring_x][i] = by_edge * places.ux[i];
            run.by[by_ring_y][i] = by_edge * places.uy[i];
        }
    }
}

RINGWALL_WIDE void turn(const Places& places, std::size_t count, RimRun& run) {
    for (std::size_t i = 0; i < count; ++i) {
        const double along = run.by[by_x][i];
        run.by[by_x][i] = -along * places.ux[i];
        run.by[by_y][i] = -along * places.uy[i];
    }
}

} // namespace

RimPrediction::RimPrediction(const RimModel& model, const RimShared& shared)
    : model_(model), shared_(shared), inner_(model.radius_px, shared.sigma_px),
      outer_(model.plated ? DiskProfile(model.drill_radius_px(), shared.sigma_px) : inner_) {}

void RimPrediction::fill(const RimPixels& pixels, std::size_t first, std::size_t count, int sector,
                         RimRun& run) const {
    const RimSector& s = model_.sectors[static_cast<std::size_t>(sector)];
    const Levels at{model_.open,      model_.outside + s.lift,  shared_.barrel,
                    model_.radius_px, model_.drill_radius_px(), shared_.sigma_px};
    Places places;
    run.count = count;
    place(&pixels.x[first], &pixels.y[first], count, model_.centre_px, places);
    look_up(inner_, places.rho, count, places.inner);
    if (model_.plated) {
        look_up(outer_, places.rho, count, places.outer);
        plated_slopes(places, at, count, run);
    } else {
        bare_slopes(places, at, count, run);
    }
    if (s.has_step) add_step(model_, s, places, at, count, run);
    turn(places, count, run);
}

} // namespace ringwall
