// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/attenuation.hpp"
#include "ringwall/image.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <variant>
#include <vector>

namespace ringwall::phantom {

/// Synthetic boards with exact truth. Lengths in mm, x right, y down, origin at the picture's first pixel
/// centre. Everything it draws is invented.

struct Circle {
    Point centre_mm;
    double radius_mm;
};
struct Ring { ///< between two radii
    Point centre_mm;
    double inner_mm;
    double outer_mm;
};
struct Polygon { ///< closed, simple
    std::vector<Point> corners_mm;
};
struct Track { ///< a line with round ends
    Point from_mm;
    Point to_mm;
    double width_mm;
};
using Shape = std::variant<Circle, Ring, Polygon, Track>;

/// One stroke on a copper layer, in drawing order: copper laid down or taken away.
struct Stroke {
    Shape shape;
    bool copper = true;
};
/// A copper layer. `poured`: starts as copper over the whole board, else empty.
struct CopperLayer {
    double thickness_um = 35;
    bool poured = false;
    std::vector<Stroke> strokes;
};
/// A bite out of a hole's wall: all points within `radius_mm` of a point on the wall become void (through the
/// whole depth).
struct Bite {
    double angle_deg; ///< anticlockwise as seen, 0 = +x
    double radius_mm;
};
/// A drilled hole. The drill removes everything; plating is then laid on the wall, inside the drill diameter.
struct Drill {
    Point centre_mm;
    double drill_mm;                                         ///< outside of the plating
    double plating_um = 0;                                   ///< 0: bare
    std::vector<std::pair<double, double>> missing_arcs_deg; ///< plating absent from..to, anticlockwise
    std::vector<Bite> bites;
    double oval_mm = 0; ///< half difference of the long and short diameters (long axis at oval_axis_deg)
    double oval_axis_deg = 0;
    double filled_mm = 0; ///< diameter of a steel pin in it, 0: empty
    Point slot_to_mm{};   ///< with is_slot: the other end's centre
    bool is_slot = false;
};
/// Something in front of the board: a part's lead or package, solder, a bracket.
struct Part {
    Shape shape;
    Substance substance;
    double thickness_mm;
};

struct Board {
    std::string name;
    double width_mm = 60, height_mm = 40; ///< of the picture's field
    Polygon outline;                      ///< board inside it; empty corners: board fills the field
    double thickness_mm = 1.6;
    Substance laminate = glass_epoxy();
    std::vector<CopperLayer> layers; ///< from the side of the source
    std::vector<Drill> drills;
    std::vector<Part> parts;
};

/// How the picture is taken. No part of it changes the truth.
struct Exposure {
    Beam beam = single_energy_beam(60);
    double pixel_mm = 0.025;
    double blur_sigma_px = 1.0; ///< Gaussian, of the optics; the pixel's own area is integrated besides
    double photons = 5000;      ///< a pixel in the open beam; 0: no noise
    double readout_sigma = 0;   ///< in units of the open-beam signal
    double heel = 0;            ///< open beam falls by this share from one edge to the other, smoothly
    double heel_angle_deg = 0;  ///< direction of the fall
    double gain = 40000;        ///< grey value of the open beam (linear)
    double offset = 0;          ///< grey value without beam
    bool dense_bright = false;  ///< stored as 65535 - value
    std::uint64_t seed = 1;
    int samples = 4; ///< sub-samples a pixel and axis for edges (exact for smooth parts)
};

/// Copper of one layer about a hole, see HoleTruth.
struct LayerGap {
    std::vector<double> gap_mm; ///< 360 entries, as HoleTruth::gap_mm
    double keepout_mm = -1;     ///< as HoleTruth::keepout_mm
};

/// What must be found of one drill, from the geometry alone. Pixels and mm of the drawn board; arcs as
/// from..to, anticlockwise, degrees, `to` may pass 360. Lists of 360 hold the direction of i degrees.
struct HoleTruth {
    Point centre_mm;
    double bore_mm = 0; ///< free air, plating in place (2 x mean radius for an oval one; a slot's width)
    double drill_mm = 0;
    double plating_um = 0;
    double covered_fraction = 0; ///< of the turn that carries plating; 0 for bare
    std::vector<std::pair<double, double>>
        missing_arcs_deg; ///< of the plating, bites counted; empty for bare
    bool round = true;    ///< neither oval nor bitten
    bool filled = false;
    bool slot = false;
    std::vector<double> air_radius_mm;  ///< where the air ends (pin left out)
    std::vector<double> wall_radius_mm; ///< where the laminate begins: drill and bites
    double furthest_void_mm =
        0; ///< radius: the largest of wall_radius_mm for a bare hole, of air_radius_mm for a plated one
    /// Along each ray from the wall (wall_radius_mm) to the first copper of any layer that is not own copper,
    /// within the picture; negative where there is none within 10 mm; 0 where it touches.
    ///
    /// Own copper of a plated hole: what is joined to the barrel on that layer, however far it goes. A bare
    /// hole has none.
    std::vector<double> gap_mm;
    std::vector<char>
        gap_hidden;         ///< 1: a part lies in front of the wall, the gap or the copper's edge on that ray
    double keepout_mm = -1; ///< smallest true distance wall to copper that is not own; -1: none in view
    double keepout_angle_deg = 0; ///< where, seen from the centre
    double own_outer_mm = 0; ///< largest radius to which own copper goes on without a break from the barrel,
                             ///< pours left out (spokes and traces as far as they run along a ray); 0: none
    double land_mm = 0;      ///< the same, median over the turn: the land's radius
    bool touching = false;   ///< bare hole with copper at the wall
    std::vector<std::pair<double, double>> touching_arcs_deg;
    bool runs_on = false; ///< plated hole whose own copper runs on into a pour or a large polygon
    std::vector<std::pair<double, double>> runs_on_arcs_deg; ///< rays along which it does so without a break
    double seen_fraction = 1;     ///< of the turn over which no part covers the edge of the air
    std::vector<LayerGap> layers; ///< each copper layer by itself, from the side of the source
};

/// Size in px of the picture of a board. Throws Error(usage) for what draw_transmission refuses.
struct PictureSize {
    int width, height;
};
PictureSize picture_size(const Board& board, const Exposure& exposure);

/// Noise-free transmission (open beam 1) of the board, blurred, before heel and noise.
///
/// Model: at every point the beam meets one stack (air; laminate with the copper of its layers; barrel;
/// steel; parts in front), whose T = sum over energies of weight * exp(-sum mu t). The stacks' intensities,
/// never their path lengths, are averaged over cells of 1/samples px, then weighted with the Gaussian of the
/// optics over the pixel's area (Gaussian variance + 1/12 px^2). Edges of figures that coincide are one edge.
/// Laminate is `thickness_mm` thick with copper or without; a barrel is copper of that depth. Accuracy
/// (tests/phantom): an edge lies within 0.0005 px, grey within 0.002 of the edge's contrast at the default
/// samples and a blur of 0.8 px or more. Throws Error(usage): figures without area, more than 32 layers, no
/// or too many pixels (2^31), samples not 1 to 32.
Image<float> draw_transmission(const Board& board, const Exposure& exposure);
/// The picture as a cabinet would store it, 16 bit: heel, photon noise (Poisson), readout noise, offset,
/// gain, clipping. Every pixel has its own random numbers, so the same seed gives the same bits in any order.
Image<std::uint16_t> expose(const Board& board, const Exposure& exposure);
/// The second half of expose, for a picture drawn before: several noises over one board.
Image<std::uint16_t> expose_drawn(ImageView<const float> transmission, const Exposure& exposure);

/// One entry a drill, in the order of Board::drills, from the shapes in closed form (1e-6 mm). Only which
/// copper is joined to which is judged on cells (10 um, up to 25 um on boards over 16 cm^2): gaps and necks
/// below two cells between a plated hole's own and other copper are not told apart. Copper outside the
/// picture's field does not exist.
std::vector<HoleTruth> truth(const Board& board);

/// A board drawn at random: planes with rings, plated and bare hardware holes, vias, traces, text-like
/// strokes, spokes.
struct RandomBoard {
    std::uint64_t seed = 1;
    double width_mm = 40, height_mm = 30;
    int hardware_holes = 6;
    int vias = 30;
    bool traces = true;
    bool worn = false;               ///< some holes with bites, arcs of plating missing, rings worn through
    bool parts = false;              ///< leads, packages and solder in front
    int slots = 0;                   ///< of `hardware_holes`, plated or bare
    int filled = 0;                  ///< of `hardware_holes`, with a steel pin
    bool whole_board_in_view = true; ///< false: laminate fills the picture, no outside air
};
Board random_board(const RandomBoard& choice);

/// The demo: "Field pump controller", revision 'A' or 'B' (design: 24 V irrigation drive; invented).
///
/// A: four layers, 1.6 mm, bare 3.3 mm lid-screw holes off-centre in their rings: top left the ring is gone
/// over an arc, top right it is narrow, bottom left wide, bottom right a spare without a screw. B: six
/// layers, 1.8 mm; top left left bare in a wider ring, top right moved, bottom left plated and stitched to
/// ground, the spare kept.
Board demo_board(char revision);
Exposure demo_exposure(char revision);
/// Where the four lid-screw holes stand in demo_board's drills: top left, top right, bottom left, spare.
std::array<std::size_t, 4> demo_lid_holes(const Board& demo);

/// The board turned anticlockwise about the middle of the picture, then moved: as another hand would lay it
/// down.
Board laid_down(const Board& board, double turn_deg, Point shift_mm);

/// Writes the demo case into a new or empty folder: revision-a and revision-b, each with a face-on picture
/// (16-bit TIFF with its resolution) and a case file, and a README.txt which says that all of it is invented.
/// The pictures differ in how the board lay. Throws Error(input) when the folder holds something or cannot be
/// written.
void write_demo(const std::filesystem::path& folder);

} // namespace ringwall::phantom
