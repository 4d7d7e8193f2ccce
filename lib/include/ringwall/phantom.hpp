// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/attenuation.hpp"
#include "ringwall/image.hpp"

#include <cstdint>
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

/// What must be found of one drill, from the geometry alone. Pixels and mm of the drawn board.
struct HoleTruth {
    Point centre_mm;
    double bore_mm; ///< free air, plating in place (2 x mean radius for an oval one)
    double drill_mm;
    double plating_um;
    double covered_fraction; ///< of the turn that carries plating; 0 for bare
    bool round;
    bool filled;
    bool slot;
    double furthest_void_mm; ///< radius
    /// Along each ray (angle i degrees) from the drilled wall (out of round: from the furthest void on that
    /// ray... see .cpp) to the first copper of any layer that is not own copper; negative where none within
    /// 10 mm; 0 where it touches.
    std::vector<double> gap_mm; ///< 360 entries
    double keepout_mm;          ///< smallest true distance wall to copper that is not own; -1: none in view
    bool touching;              ///< bare hole with copper at the wall
    bool runs_on;               ///< plated hole whose own copper runs on into a plane
};

/// Noise-free transmission (open beam 1) of the board, before heel and noise. Rows in parallel would not
/// change a bit.
Image<float> draw_transmission(const Board& board, const Exposure& exposure);
/// The picture as a cabinet would store it, 16 bit.
Image<std::uint16_t> expose(const Board& board, const Exposure& exposure);
std::vector<HoleTruth> truth(const Board& board);

/// A board drawn at random: planes with rings, plated and bare hardware holes, vias, traces, text-like
/// strokes, spokes.
struct RandomBoard {
    std::uint64_t seed = 1;
    double width_mm = 40, height_mm = 30;
    int hardware_holes = 6;
    int vias = 30;
    bool traces = true;
    bool worn = false;  ///< some holes with bites, arcs of plating missing, rings worn through
    bool parts = false; ///< leads, packages and solder in front
    bool whole_board_in_view = true;
};
Board random_board(const RandomBoard& choice);

/// The demo: "Field pump controller", revision 'A' or 'B' (design: 24 V irrigation drive; invented).
Board demo_board(char revision);

} // namespace ringwall::phantom
