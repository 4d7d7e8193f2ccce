// SPDX-License-Identifier: Apache-2.0
#include "holes/rim_normal.hpp"

#include <Eigen/Cholesky>

#include <algorithm>
#include <cmath>
#include <cstring>

namespace ringwall {

namespace {

using Column = RimRun::Column;
using Products = std::array<std::array<double, rim_slopes>, rim_slopes>; ///< sums over pixels; lower triangle
constexpr double huber_sigmas = 3.0;

/// Residuals into the run, weights beside it; chi-square is returned.
RINGWALL_WIDE void weigh(const double* t, const double* inverse_sigma, RimRun& run, Column& weight,
                         Column& chi2) {
    for (std::size_t i = 0; i < run.count; ++i) {
        const double off = t[i] - run.value[i], residual = off * inverse_sigma[i], size = std::abs(residual);
        const double near = residual * residual, far = huber_sigmas * (2 * size - huber_sigmas);
        const double share = std::min(1.0, huber_sigmas / std::max(size, 1e-9));
        chi2[i] = size > huber_sigmas ? far : near;
        weight[i] = share * inverse_sigma[i] * inverse_sigma[i];
        run.by[by_nothing][i] = off;
    }
}

/// The slopes that a sector has, residuals last.
struct Active {
    std::array<int, rim_slopes> slope{};
    std::size_t count = 0;
    Active(const RimModel& model, const RimSector& sector) {
        const auto put = [this](int from, int to) {
            for (int k = from; k < to; ++k)
                slope[count++] = k;
        };
        put(by_x, by_wall);
        if (model.plated) put(by_wall, by_gap);
        if (sector.has_step) put(by_gap, sector.in_ring ? by_nothing : by_ring_x);
        put(by_nothing, by_nothing + 1);
    }
};

/// Pixels up to a whole number of lanes weigh nothing.
std::size_t fill_up(const Active& active, RimRun& run, Column& weight) {
    const std::size_t whole = (run.count + lanes - 1) / lanes * lanes;
    for (std::size_t i = run.count; i < whole; ++i) {
        weight[i] = 0;
        for (std::size_t k = 0; k < active.count; ++k)
            run.by[static_cast<std::size_t>(active.slope[k])][i] = 0;
    }
    return whole;
}

/// Weighted sums of products of every two active slopes, four sums at a time.
RINGWALL_WIDE void add_products(const RimRun& run, const Active& active, const Column& weight,
                                std::size_t whole, Products& sums) {
    alignas(sizeof(Lanes)) Column weighted;
    for (std::size_t i = 0; i < active.count; ++i) {
        const Column& own = run.by[static_cast<std::size_t>(active.slope[i])];
        for (std::size_t k = 0; k < whole; ++k)
            weighted[k] = weight[k] * own[k];
        for (std::size_t j = 0; j <= i; j += 4) {
            std::array<const double*, 4> other{};
            for (std::size_t c = 0; c < 4; ++c)
                other[c] = run.by[static_cast<std::size_t>(active.slope[std::min(j + c, i)])].data();
            Lanes s0{}, s1{}, s2{}, s3{};
            for (std::size_t k = 0; k < whole; k += lanes) {
                Lanes w, a, b, c, d;
                std::memcpy(&w, &weighted[k], sizeof w);
                std::memcpy(&a, other[0] + k, sizeof a);
                std::memcpy(&b, other[1] + k, sizeof b);
                std::memcpy(&c, other[2] + k, sizeof c);
                std::memcpy(&d, other[3] + k, sizeof d);
                s0 += w * a, s1 += w * b, s2 += w * c, s3 += w * d;
            }
            const std::array<const Lanes*, 4> sum{&s0, &s1, &s2, &s3};
            for (std::size_t c = 0; c < 4 && j + c <= i; ++c) {
                const Lanes& s = *sum[c];
                sums[i][j + c] += (s[0] + s[1]) + (s[2] + s[3]);
            }
        }
    }
}

/// Which of the sums stand for a parameter; -1: none.
struct Places {
    std::array<int, rim_common> common{};
    std::array<int, per_sector> sector{};
    Places(const RimModel& model, const RimSector& s, const Active& active) {
        std::array<int, rim_slopes> at{};
        at.fill(-1);
        for (std::size_t k = 0; k < active.count; ++k)
            at[static_cast<std::size_t>(active.slope[k])] = static_cast<int>(k);
        const bool ring = s.has_step && s.in_ring;
        common = {at[by_x],      at[by_y],       at[by_radius],          model.plated ? at[by_wall] : -1,
                  at[by_open],   at[by_outside], ring ? at[by_gap] : -1, at[by_ring_x],
                  at[by_ring_y], at[by_sigma],   at[by_barrel]};
        sector = {at[by_outside], at[by_gap], at[by_beyond]};
    }
};

void scatter(const Products& sums, const Places& at, std::size_t residuals, RimNormal& n,
             RimNormal::Sector& own) {
    const auto sum = [&](int a, int b) {
        return a < 0 || b < 0
                   ? 0.0
                   : sums[static_cast<std::size_t>(std::max(a, b))][static_cast<std::size_t>(std::min(a, b))];
    };
    const int last = static_cast<int>(residuals);
    for (int i = 0; i < rim_common; ++i) {
        const int row = at.common[static_cast<std::size_t>(i)];
        if (row < 0) continue;
        n.g[i] += sum(last, row);
        for (int j = 0; j < rim_common; ++j)
            n.a(i, j) += sum(row, at.common[static_cast<std::size_t>(j)]);
    }
    for (int i = 0; i < per_sector; ++i) {
        const int row = at.sector[static_cast<std::size_t>(i)];
        own.g[i] += sum(last, row);
        for (int j = 0; j < per_sector; ++j)
            own.a(i, j) += sum(row, at.sector[static_cast<std::size_t>(j)]);
        for (int j = 0; j < rim_common; ++j)
            own.with_common(i, j) += sum(row, at.common[static_cast<std::size_t>(j)]);
    }
}

void add_belief(double& a, double& g, double& chi2, double now, double expected, double u) {
    if (u <= 0) return;
    a += 1 / (u * u);
    g += (expected - now) / (u * u);
    chi2 += (expected - now) * (expected - now) / (u * u);
}

} // namespace

void RimNormal::add(const RimModel& model, int sector, const double* t, const double* inverse_sigma,
                    RimRun& run) {
    const RimSector& s = model.sectors[static_cast<std::size_t>(sector)];
    const Active active(model, s);
    alignas(sizeof(Lanes)) Column weight, of_pixel;
    weigh(t, inverse_sigma, run, weight, of_pixel);
    for (std::size_t i = 0; i < run.count; ++i)
        chi2 += of_pixel[i];
    Products sums{};
    add_products(run, active, weight, fill_up(active, run, weight), sums);
    scatter(sums, Places(model, s, active), active.count - 1, *this,
            sectors[static_cast<std::size_t>(sector)]);
}

void RimNormal::add_beliefs(const RimModel& model, const RimBelief& belief) {
    const auto common = [&](int at, double now, double expected, double u) {
        add_belief(a(at, at), g[at], chi2, now, expected, u);
    };
    common(open, model.open, belief.open, belief.open_u);
    common(outside, model.outside, belief.outside, belief.outside_u);
    const double offset_u = model.ring_eccentric ? belief.ring_offset_u_px : 1e-6;
    common(ring_x, model.ring_offset_px.x, 0, offset_u);
    common(ring_y, model.ring_offset_px.y, 0, offset_u);
    for (std::size_t k = 0; k < model.sectors.size(); ++k) {
        const RimSector& s = model.sectors[k];
        if (!s.used) continue;
        const auto own = [&](int at, double now, double expected, double u) {
            add_belief(sectors[k].a(at, at), sectors[k].g[at], chi2, now, expected, u);
        };
        own(lift, s.lift, 0, belief.lift_u);
        if (!s.has_step) continue;
        if (s.in_ring)
            own(gap, s.gap_px, 0, belief.ring_gap_u_px);
        else
            own(gap, s.gap_px, s.gap_expected_px, belief.gap_u_px);
        own(beyond, s.beyond, s.beyond_expected, belief.beyond_u);
    }
}

RimFitted::RimFitted(const RimModel& model) : sectors(model.sectors.size()) {
    for (const auto c : {cx, cy, radius, open, outside})
        own[static_cast<std::size_t>(c)] = true;
    own[wall] = model.plated;
    own[ring_gap] = own[ring_x] = own[ring_y] = std::any_of(
        model.sectors.begin(), model.sectors.end(), [](const RimSector& s) { return s.used && s.in_ring; });
    for (std::size_t k = 0; k < sectors.size(); ++k) {
        const RimSector& s = model.sectors[k];
        if (s.used) sectors[k] = {true, s.has_step && s.gap_free, s.has_step};
    }
}

int RimFitted::count() const {
    auto n = std::count(own.begin(), own.end(), true);
    for (const auto& s : sectors)
        n += std::count(s.begin(), s.end(), true);
    return static_cast<int>(n);
}

RimReduced::RimReduced(const RimNormal& normal, const RimFitted& fitted, double damping)
    : a(normal.a), g(normal.g), followers_(normal.sectors.size()) {
    constexpr double floor = 1e-12;
    for (int i = 0; i < rim_own; ++i) {
        if (fitted.own[static_cast<std::size_t>(i)]) {
            a(i, i) = a(i, i) * (1 + damping) + (damping > 0 ? floor : 0);
            continue;
        }
        a.row(i).setZero(), a.col(i).setZero();
        a(i, i) = 1, g[i] = 0;
    }
    for (std::size_t k = 0; k < followers_.size(); ++k) {
        RimNormal::Sector s = normal.sectors[k];
        for (int i = 0; i < per_sector; ++i) {
            if (fitted.sectors[k][static_cast<std::size_t>(i)]) {
                s.a(i, i) = s.a(i, i) * (1 + damping) + (damping > 0 ? floor : 0);
                continue;
            }
            s.a.row(i).setZero(), s.a.col(i).setZero(), s.with_common.row(i).setZero();
            s.a(i, i) = 1, s.g[i] = 0;
        }
        for (int i = 0; i < rim_own; ++i)
            if (!fitted.own[static_cast<std::size_t>(i)]) s.with_common.col(i).setZero();
        const Eigen::Matrix3d inverse = s.a.llt().solve(Eigen::Matrix3d::Identity());
        followers_[k] = {inverse * s.with_common, inverse * s.g};
        const Eigen::Matrix<double, rim_common, per_sector> by = followers_[k].by_common.transpose();
        for (int j = 0; j < rim_common; ++j) // a column at a time, whole vectors
            for (int c = 0; c < per_sector; ++c) {
                a.col(j) -= s.with_common(c, j) * by.col(c);
                g[j] -= s.with_common(c, j) * followers_[k].alone[c];
            }
    }
}

RimReduced::Step RimReduced::solve() const {
    Step step;
    step.own = a.topLeftCorner<rim_own, rim_own>().ldlt().solve(g.head<rim_own>());
    step.sectors.reserve(followers_.size());
    for (const Follower& f : followers_)
        step.sectors.emplace_back(f.alone - f.by_common.leftCols<rim_own>() * step.own);
    return step;
}

} // namespace ringwall
