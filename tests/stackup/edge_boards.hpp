// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "phantom/random.hpp"
#include "ringwall/edge_phantom.hpp"
#include "ringwall/radiograph.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace ringwall::test {

/// A board seen edge-on with everything that a test needs to know of it.
struct EdgeCase {
    phantom::Board board;
    phantom::EdgeShot shot;
    phantom::Exposure exposure;
    double foil_um = 35;
    double depth_mm = 20;
    [[nodiscard]] double thickness_px() const { return board.thickness_mm / exposure.pixel_mm; }
    [[nodiscard]] int layers() const { return static_cast<int>(board.layers.size()); }
};

/// Length 30 mm, all layers planes set back 0.3 mm from the outline, evenly spaced.
inline EdgeCase plain_edge(int layers, double depth_mm = 20, double foil_um = 35, double thickness_mm = 1.6) {
    EdgeCase c;
    c.foil_um = foil_um, c.depth_mm = depth_mm;
    const double margin = 2, length = 24;
    c.board.width_mm = length + 2 * margin, c.board.height_mm = depth_mm + 2 * margin;
    const auto rectangle = [&](double in) {
        return phantom::Polygon{{{margin + in, margin + in},
                                 {margin + length - in, margin + in},
                                 {margin + length - in, margin + depth_mm - in},
                                 {margin + in, margin + depth_mm - in}}};
    };
    c.board.outline = rectangle(0);
    c.board.thickness_mm = thickness_mm;
    for (int n = 0; n < layers; ++n)
        c.board.layers.push_back({foil_um, false, {{rectangle(0.3), true}}});
    c.shot.width_mm = length + 4, c.shot.height_mm = thickness_mm + 3;
    c.exposure.pixel_mm = 0.02;
    c.exposure.beam = phantom::Exposure{}.beam;
    return c;
}

inline void add_via(EdgeCase& c, double x_mm, double y_mm, double drill_mm, double plating_um = 25) {
    phantom::Drill drill;
    drill.centre_mm = {x_mm, y_mm}, drill.drill_mm = drill_mm, drill.plating_um = plating_um;
    c.board.drills.push_back(drill);
}

/// The picture as a linear 16-bit file would hold it.
inline Radiograph stored(const EdgeCase& c) {
    const Image<std::uint16_t> grey =
        phantom::expose_drawn(phantom::draw_edge_on(c.board, c.shot, c.exposure).view(), c.exposure);
    Radiograph picture;
    picture.facts.file = "drawn";
    picture.facts.format = "TIFF";
    picture.facts.width_px = grey.width(), picture.facts.height_px = grey.height();
    picture.facts.bits = 16;
    picture.facts.full_scale = 65535;
    picture.facts.radiometry = Radiometry::linear;
    picture.values = Image<float>(grey.width(), grey.height());
    for (std::size_t i = 0; i < grey.size(); ++i)
        picture.values.data()[i] = grey.data()[i];
    return picture;
}

} // namespace ringwall::test
