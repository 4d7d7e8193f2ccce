// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "rings/ring_fit.hpp"
#include "rings/scan.hpp"

#include <array>
#include <cstdint>
#include <vector>

namespace ringwall::rings {

/// The picture round a hole as rays x radii, once as it is (bilinear) and once averaged along the turn, so
/// that a ring stands out of noise that hides every pixel of it.
struct PolarField {
    static constexpr double pace_px = 0.5;
    int radii = 0;                    ///< radius j is j * pace_px from the hole's centre
    std::vector<float> t;             ///< [ray * radii + j]
    std::vector<std::uint8_t> usable; ///< all four pixels under the sample are board or the hole's own wall
    std::vector<float> smooth;        ///< Gaussian along the turn of about `turn_px` px
    double turn_px = 0;

    [[nodiscard]] std::size_t at(int ray, int j) const {
        return static_cast<std::size_t>(ray) * static_cast<std::size_t>(radii) + static_cast<std::size_t>(j);
    }
};
PolarField polar_field(const Scene& scene, double reach_px);

/// Own and foreign copper on each ray as the averaged field shows them.
struct RingSight {
    double own_end = 0; ///< plated: outer end of copper that starts at the wall; 0: none
    /// [k]: where k + 1 foils more than the ring's ground begin; 0: not seen.
    std::array<double, most_planes> plane{};
    bool at_wall = false; ///< bare: copper already where the wall's blur ends; plane[0] is then a guess
    int least_foils = 0;  ///< fewest foils met on the way to the end
    [[nodiscard]] double first() const { return plane[0]; }
};
/// `ground`: foils that lie in the ring itself (0; more where a plane is joined to the hole all round).
std::array<RingSight, rays> ring_sights(const Scene& scene, const PolarField& field, double wall_zone_px,
                                        int ground);

/// What a fitted ring says about every ray: half-height radii and levels in T.
struct RingExpectation {
    std::array<double, rays> edge_px{};             ///< the first of the ring's copper edges, 0: none
    std::array<double, rays> land_px{};             ///< outer edge of the hole's own land, 0: none
    std::vector<std::array<double, rays>> planes{}; ///< all copper edges
    std::vector<std::array<double, rays>> steps{};  ///< what each adds to T (negative)
    double laminate = 0, land = 0;
    double copper = 0; ///< behind all edges, where that is darkest
    double foil = 0;   ///< one foil on what lies in the ring: what a trace there looks like
};

/// T of the ring on a ray, up to its edge and a little beyond.
double ring_t(const RingExpectation& ring, int ray, double rho, double blur_px);

/// Copper where the ring has laminate, or laminate where it has copper.
struct Departure {
    bool found = false;
    double evidence = 0; ///< log likelihood gained
    double from_px = 0, to_px = 0;
};

/// Looks between `inner` and `outer` on each ray for the run of radii that gains most from not being what the
/// ring says
/// (`inward`: copper for laminate; else laminate for copper), over wedges of three widths, the narrowest that
/// shows it first. A gain below 13 (about five sigma) is noise: some 10^4 places are tried on a hole.
std::array<Departure, rays> departures(const Scene& scene, const PolarField& field,
                                       const RingExpectation& ring, bool inward,
                                       const std::array<double, rays>& inner_px,
                                       const std::array<double, rays>& outer_px);

} // namespace ringwall::rings
