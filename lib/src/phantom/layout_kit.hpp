// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/phantom.hpp"

#include <initializer_list>
#include <string_view>
#include <vector>

namespace ringwall::phantom {

/// What a copper layer is for.
enum class LayerRole { top, ground, supply, signal, bottom };
/// What a plated hole is joined to.
enum class Net { signal, ground, supply };

/// Draws a laid-out board piece by piece: pads, vias, traces, parts. Clearances, spokes and lands follow from
/// the layers' roles, so that one drawing serves boards with different layer counts.
class LayoutKit {
  public:
    LayoutKit(std::vector<LayerRole> roles, Polygon outline, double width_mm, double height_mm);

    /// A plated hole for a part's pin: lands outside; on planes a spoked joint to its own net, else a ring.
    void pin(Point centre, double drill_mm, double land_mm, Net net);
    void via(Point centre, Net net);
    /// A bare hole in a ring whose centre lies `ring_off` away.
    void bare_hole(Point centre, double drill_mm, double gap_mm, Point ring_off_mm);
    /// A plated hole joined to ground all round by a wide land and a wreath of vias.
    void stitched_hole(Point centre, double drill_mm, double land_mm, int vias);
    void pad(LayerRole layer, Point centre, double width_mm, double height_mm);
    void trace(LayerRole layer, double width_mm, std::initializer_list<Point> points);
    void trace(LayerRole layer, double width_mm, const std::vector<Point>& points);
    void pour(LayerRole layer, const Polygon& area);
    void gap_line(LayerRole layer, Point from, Point to, double width_mm); ///< splits a plane
    void text(LayerRole layer, Point at, double height_mm, std::string_view words);
    void part(const Shape& shape, const Substance& substance, double thickness_mm);

    /// A chip part with two terminals, its pads and solder; along x or y.
    void chip(Point centre, bool along_y);
    /// A row package: `leads` a side, pitch in mm, on two or four sides.
    void package(Point centre, int leads, double pitch_mm, double body_mm, bool four_sides);
    /// Where the solder joint of lead `i` of a side is (0 right, 1 top, 2 left, 3 bottom).
    static Point lead_place(Point centre, int leads, double pitch_mm, double body_mm, int side, int i);

    Board finish(std::string name, double thickness_mm);

  private:
    [[nodiscard]] static bool is_plane(LayerRole role) {
        return role == LayerRole::ground || role == LayerRole::supply;
    }
    void on_planes(Point centre, double radius_mm, Net net, double land_radius_mm, bool spokes);
    template<typename Do>
    void each(LayerRole role, Do&& act);

    std::vector<LayerRole> roles_;
    Board board_;
    struct Strokes { ///< laid down in this order
        std::vector<Stroke> pours, clearings, lands;
    };
    std::vector<Strokes> layers_;
};

} // namespace ringwall::phantom
