// SPDX-License-Identifier: Apache-2.0
#include "phantom/layout_kit.hpp"

#include "phantom/figure.hpp"
#include "phantom/lettering.hpp"

namespace ringwall::phantom {
namespace {

constexpr double foil_outside_um = 40, foil_inside_um = 32, barrel_um = 25;

Point along(Point from, double angle_deg, double by) {
    return ahead(from, direction(angle_deg), by);
}

Substance alumina() {
    return {"alumina", {{13, 0.529}, {8, 0.471}}, 3.9};
}
Substance silicon() {
    return {"silicon", {{14, 1.0}}, 2.33};
}
/// A package's filled resin, taken as glass and epoxy.
Substance resin() {
    Substance substance = glass_epoxy();
    substance.name = "package resin";
    return substance;
}

} // namespace

LayoutKit::LayoutKit(std::vector<LayerRole> roles, Polygon outline, double width_mm, double height_mm)
    : roles_(std::move(roles)), layers_(roles_.size()) {
    board_.outline = std::move(outline);
    board_.width_mm = width_mm;
    board_.height_mm = height_mm;
    board_.layers.resize(roles_.size());
    for (std::size_t n = 0; n < roles_.size(); ++n) {
        const bool outside = n == 0 || n + 1 == roles_.size();
        board_.layers[n].thickness_um = outside ? foil_outside_um : foil_inside_um;
    }
}

template<typename Do>
void LayoutKit::each(LayerRole role, Do&& act) {
    for (std::size_t n = 0; n < roles_.size(); ++n)
        if (roles_[n] == role) act(layers_[n]);
}

/// A ring on every plane of another net; on planes of the hole's own net spokes or nothing at all. A pour on
/// the bottom counts as ground.
void LayoutKit::on_planes(Point centre, double radius, Net net, double land_radius, bool spokes) {
    for (std::size_t n = 0; n < roles_.size(); ++n) {
        const LayerRole role = roles_[n];
        const bool own = (role == LayerRole::ground && net == Net::ground) ||
                         (role == LayerRole::supply && net == Net::supply) ||
                         (role == LayerRole::bottom && net == Net::ground);
        if (!is_plane(role) && role != LayerRole::bottom) continue;
        if (own && !spokes) continue;
        layers_[n].clearings.push_back({Circle{centre, radius}, false});
        if (!own) continue;
        layers_[n].lands.push_back({Circle{centre, land_radius}, true});
        for (int i = 0; i < 4; ++i)
            layers_[n].lands.push_back({Track{along(centre, 45 + 90 * i, land_radius - 0.1),
                                              along(centre, 45 + 90 * i, radius + 0.15), 0.4},
                                        true});
    }
}

void LayoutKit::pin(Point centre, double drill_mm, double land_mm, Net net) {
    Drill drill;
    drill.centre_mm = centre;
    drill.drill_mm = drill_mm;
    drill.plating_um = barrel_um;
    board_.drills.push_back(drill);
    on_planes(centre, land_mm / 2 + 0.3, net, land_mm / 2, true);
    for (const LayerRole role : {LayerRole::top, LayerRole::bottom})
        each(role, [&](Strokes& layer) { layer.lands.push_back({Circle{centre, land_mm / 2}, true}); });
}

void LayoutKit::via(Point centre, Net net) {
    Drill drill;
    drill.centre_mm = centre;
    drill.drill_mm = 0.4;
    drill.plating_um = 22;
    board_.drills.push_back(drill);
    on_planes(centre, 0.52, net, 0.33, false);
    for (const LayerRole role : {LayerRole::top, LayerRole::bottom})
        each(role, [&](Strokes& layer) { layer.lands.push_back({Circle{centre, 0.33}, true}); });
}

void LayoutKit::bare_hole(Point centre, double drill_mm, double gap_mm, Point ring_off) {
    Drill drill;
    drill.centre_mm = centre;
    drill.drill_mm = drill_mm;
    board_.drills.push_back(drill);
    for (std::size_t n = 0; n < roles_.size(); ++n)
        layers_[n].clearings.push_back(
            {Circle{{centre.x + ring_off.x, centre.y + ring_off.y}, drill_mm / 2 + gap_mm}, false});
}

void LayoutKit::stitched_hole(Point centre, double drill_mm, double land_mm, int vias) {
    Drill drill;
    drill.centre_mm = centre;
    drill.drill_mm = drill_mm;
    drill.plating_um = barrel_um;
    board_.drills.push_back(drill);
    on_planes(centre, land_mm / 2 + 0.6, Net::ground, land_mm / 2, false);
    for (const LayerRole role : {LayerRole::top, LayerRole::bottom})
        each(role, [&](Strokes& layer) { layer.lands.push_back({Circle{centre, land_mm / 2}, true}); });
    const double wreath = (drill_mm / 2 + land_mm / 2) / 2;
    for (int i = 0; i < vias; ++i) {
        drill.centre_mm = along(centre, 360.0 * i / vias, wreath);
        drill.drill_mm = 0.4;
        drill.plating_um = 22;
        board_.drills.push_back(drill);
    }
}

void LayoutKit::pad(LayerRole layer, Point c, double width, double height) {
    each(layer, [&](Strokes& s) {
        s.lands.push_back(
            {rectangle(c.x - width / 2, c.y - height / 2, c.x + width / 2, c.y + height / 2), true});
    });
}

void LayoutKit::trace(LayerRole layer, double width, std::initializer_list<Point> points) {
    trace(layer, width, std::vector<Point>(points));
}

void LayoutKit::trace(LayerRole layer, double width, const std::vector<Point>& points) {
    each(layer, [&](Strokes& s) {
        for (std::size_t i = 1; i < points.size(); ++i)
            s.lands.push_back({Track{points[i - 1], points[i], width}, true});
        // A poured layer keeps off its traces.
        for (std::size_t i = 1; i < points.size() && !s.pours.empty(); ++i)
            s.clearings.push_back({Track{points[i - 1], points[i], width + 0.5}, false});
    });
}

void LayoutKit::pour(LayerRole layer, const Polygon& area) {
    each(layer, [&](Strokes& s) { s.pours.push_back({area, true}); });
}

void LayoutKit::gap_line(LayerRole layer, Point from, Point to, double width) {
    each(layer, [&](Strokes& s) { s.clearings.push_back({Track{from, to, width}, false}); });
}

void LayoutKit::text(LayerRole layer, Point at, double height, std::string_view words) {
    for (const Track& stroke : lettering(at, height, words))
        each(layer, [&](Strokes& s) { s.lands.push_back({stroke, true}); });
}

void LayoutKit::part(const Shape& shape, const Substance& substance, double thickness) {
    board_.parts.push_back({shape, substance, thickness});
}

void LayoutKit::chip(Point c, bool along_y) {
    const double dx = along_y ? 0 : 1, dy = along_y ? 1 : 0;
    const auto box = [&](double from, double to, double half_across) {
        return along_y ? rectangle(c.x - half_across, c.y + from, c.x + half_across, c.y + to)
                       : rectangle(c.x + from, c.y - half_across, c.x + to, c.y + half_across);
    };
    for (const double end : {-1.0, 1.0}) {
        pad(LayerRole::top, {c.x + end * 0.95 * dx, c.y + end * 0.95 * dy}, along_y ? 1.3 : 0.9,
            along_y ? 0.9 : 1.3);
        part(box(std::min(end * 0.65, end * 1.0), std::max(end * 0.65, end * 1.0), 0.62), tin(), 0.10);
        part(box(std::min(end * 1.0, end * 1.3), std::max(end * 1.0, end * 1.3), 0.55), tin(), 0.05);
    }
    part(box(-1.0, 1.0, 0.62), alumina(), 0.5);
}

Point LayoutKit::lead_place(Point c, int leads, double pitch, double body, int side, int i) {
    const double across = (i - (leads - 1) / 2.0) * pitch, out = body / 2 + 0.9;
    switch (side) {
    case 0:
        return {c.x + out, c.y + across};
    case 1:
        return {c.x + across, c.y - out};
    case 2:
        return {c.x - out, c.y + across};
    default:
        return {c.x + across, c.y + out};
    }
}

void LayoutKit::package(Point c, int leads, double pitch, double body, bool four_sides) {
    const double half = body / 2, wide = pitch * 0.3;
    const double half_length = four_sides ? half : (leads * pitch) / 2;
    part(rectangle(c.x - half, c.y - half_length, c.x + half, c.y + half_length), resin(), 1.2);
    const double paddle = std::min(half, half_length) * 0.55;
    part(rectangle(c.x - paddle, c.y - paddle, c.x + paddle, c.y + paddle), copper(), 0.15);
    part(rectangle(c.x - paddle * 0.7, c.y - paddle * 0.7, c.x + paddle * 0.7, c.y + paddle * 0.7), silicon(),
         0.3);
    for (int side = 0; side < 4; ++side) {
        if (!four_sides && side % 2 == 1) continue;
        const bool lies = side % 2 == 0; // the lead runs along x
        for (int i = 0; i < leads; ++i) {
            const Point p = lead_place(c, leads, pitch, body, side, i);
            pad(LayerRole::top, p, lies ? 1.6 : pitch * 0.55, lies ? pitch * 0.55 : 1.6);
            const Point in{p.x + (side == 0   ? -1.5
                                  : side == 2 ? 1.5
                                              : 0),
                           p.y + (side == 3   ? -1.5
                                  : side == 1 ? 1.5
                                              : 0)};
            part(rectangle(std::min(p.x, in.x) - (lies ? 0.3 : wide / 2),
                           std::min(p.y, in.y) - (lies ? wide / 2 : 0.3),
                           std::max(p.x, in.x) + (lies ? 0.3 : wide / 2),
                           std::max(p.y, in.y) + (lies ? wide / 2 : 0.3)),
                 copper(), 0.15);
            part(rectangle(p.x - (lies ? 0.6 : wide / 2), p.y - (lies ? wide / 2 : 0.6),
                           p.x + (lies ? 0.6 : wide / 2), p.y + (lies ? wide / 2 : 0.6)),
                 tin(), 0.05);
        }
    }
}

Board LayoutKit::finish(std::string name, double thickness_mm) {
    board_.name = std::move(name);
    board_.thickness_mm = thickness_mm;
    for (std::size_t n = 0; n < layers_.size(); ++n)
        for (const auto* strokes : {&layers_[n].pours, &layers_[n].clearings, &layers_[n].lands})
            board_.layers[n].strokes.insert(board_.layers[n].strokes.end(), strokes->begin(), strokes->end());
    return std::move(board_);
}

} // namespace ringwall::phantom
