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
    std::array<double, rays> edge_px{}; ///< the first of the ring's copper edges, 0: none
    std::array<double, rays> land_px{}; ///< outer edge of the hole's own land, 0: none
    std::array<double, rays>
        own_px{}; ///< where own copper round the hole ends, traces that leave it left out
    std::vector<std::array<double, rays>> planes{}; ///< all copper edges
    std::vector<std::array<double, rays>> steps{};  ///< what each adds to T (negative)
    double laminate = 0, land = 0;
    double copper = 0; ///< behind all edges, where that is darkest
    /// The least darkening looked for. A gain by likelihood counts all copper over half as dark as it looks
    /// for, and loses little where copper is darker.
    double least_foil = 0;
    double foil = 0; ///< one foil on what lies in the ring: what a trace there looks like
};

/// T of the ring on a ray, up to its edge and a little beyond.
double ring_t(const RingExpectation& ring, int ray, double rho, double blur_px);

/// Copper where the ring has laminate, or laminate where it has copper.
struct Departure {
    bool found = false;
    double evidence = 0; ///< log likelihood gained
    double from_px = 0, to_px = 0;
    /// What reaching on to the inner and to the outer end of the radii looked at would gain: none above 0.
    double to_inner = 0, to_outer = 0;
};

/// Independent pixels across the turn that a sample of the field stands for, rays lying `px_a_ray` apart. A
/// bilinear sample is a triangle of 2 px across; where rays lie further apart than a pixel it has seen fewer
/// pixels than lie between two rays. One over the sum of the triangles' products: with the ray itself 2/3,
/// with either neighbour (2 - px_a_ray)^3 / 6.
double pixels_across(double px_a_ray);

/// Log likelihood that says: no noise, some 10^4 places being tried on a hole (about five sigma).
inline constexpr double enough_evidence = 13;

/// What copper between two radii on rays ray - half .. ray + half gains over what the ring says, log
/// likelihood.
double copper_gain(const Scene& scene, const PolarField& field, const RingExpectation& ring, int ray,
                   int half, double from_px, double to_px);

/// Looks between `inner` and `outer` on each ray for the run of radii that gains most from not being what the
/// ring says (`inward`: copper for laminate; else laminate for copper), over wedges of three widths, the
/// narrowest that shows it by enough_evidence first.
std::array<Departure, rays> departures(const Scene& scene, const PolarField& field,
                                       const RingExpectation& ring, bool inward,
                                       const std::array<double, rays>& inner_px,
                                       const std::array<double, rays>& outer_px);

} // namespace ringwall::rings
