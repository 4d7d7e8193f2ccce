// SPDX-License-Identifier: Apache-2.0
#include "layers/one_drill.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall::layers {
namespace {

constexpr double worse_fit = 4; ///< times the least uncertainty of the bore

double middle_depth(const FlatStack& flat) {
    return flat.thickness_px.value() / 2;
}

bool shows_edge(const Hole& layer) {
    return layer.bore_px && layer.bore_px.u() > 0;
}

/// Weighted mean of one diameter over the sound layers. u: its own, never below what the layers' scatter
/// says.
Estimate mean_of(const std::vector<const Hole*>& sound, Estimate Hole::*what) {
    double sum = 0, weights = 0;
    std::vector<double> values;
    for (const Hole* hole : sound) {
        const Estimate& each = hole->*what;
        if (!each || each.u() <= 0) continue;
        const double weight = 1 / (each.u() * each.u());
        sum += weight * each.value(), weights += weight;
        values.push_back(each.value());
    }
    if (values.empty()) return sound.empty() ? Estimate() : sound.front()->*what;
    const double mean = sum / weights;
    double scatter = 0;
    for (const double v : values)
        scatter += (v - mean) * (v - mean);
    const auto n = static_cast<double>(values.size());
    const double of_scatter = n > 1 ? std::sqrt(scatter / (n - 1) / n) : 0;
    return Estimate::of(mean, std::max(1 / std::sqrt(weights), of_scatter));
}

/// Layers' centres brought to mid-depth along the normal: where they lie on the whole, and how far they
/// stray.
void place(const FlatStack& flat, double pitch_px, const std::vector<char>& astray, LayeredHole& hole) {
    std::vector<Point> at;
    double u2 = 0;
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        const Hole& fit = hole.by_layer[k];
        if (!fit.bore_px || astray[k] != 0) continue;
        at.push_back(
            along_normal(flat, pitch_px, fit.centre_px, flat.layers[k].depth_px.value(), middle_depth(flat)));
        u2 += fit.u_x_px * fit.u_x_px + fit.u_y_px * fit.u_y_px;
    }
    if (at.empty()) return;
    const auto n = static_cast<double>(at.size());
    Point mean;
    for (const Point& p : at)
        mean.x += p.x / n, mean.y += p.y / n;
    double furthest = 0;
    for (const Point& p : at)
        furthest = std::max(furthest, std::hypot(p.x - mean.x, p.y - mean.y));
    hole.whole.centre_px = mean;
    hole.whole.u_x_px = hole.whole.u_y_px = std::sqrt(u2 / 2) / n;
    hole.wander_px = at.size() > 1 ? Estimate::of(furthest, std::max(std::sqrt(u2 / n), 0.01))
                                   : Estimate::missing("fewer than two layers show the hole's edge");
}

/// The layer that shows the edge best lends its shape.
void replace(const FlatStack& flat, double pitch_px, const Hole& best, const LayeredHole& hole, std::size_t k,
             Hole& layer) {
    const bool bare_here = layer.wall.state == WallState::bare;
    const Estimate edge = bare_here && hole.whole.drill_px ? hole.whole.drill_px : hole.whole.bore_px;
    layer.drill_px = hole.whole.drill_px ? hole.whole.drill_px : edge;
    layer.bore_px = edge;
    layer.centre_px = along_normal(flat, pitch_px, hole.whole.centre_px, middle_depth(flat),
                                   flat.layers[k].depth_px.value());
    layer.u_x_px = best.u_x_px, layer.u_y_px = best.u_y_px;
    layer.shape = best.shape;
    layer.contour = best.contour;
    const double wider = best.bore_px ? (edge.value() - best.bore_px.value()) / 2 : 0;
    for (ContourPoint& point : layer.contour)
        point.radius_px += wider;
    layer.hidden_arcs.clear();
}

/// How much the sheet moves a point on its way to mid-depth, along a direction.
double moved(const FlatStack& flat, double pitch_px, double depth_px, Point at, Point along) {
    const Point to = along_normal(flat, pitch_px, at, depth_px, middle_depth(flat));
    return (to.x - at.x) * along.x + (to.y - at.y) * along.y;
}

} // namespace

void use_one_drill(const FlatStack& flat, double pitch_px, std::vector<char> astray, LayeredHole& hole) {
    astray.resize(hole.by_layer.size(), 0);
    const Hole* best = nullptr;
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        const Hole& layer = hole.by_layer[k];
        if (astray[k] != 0 || !shows_edge(layer)) continue;
        if (best == nullptr || layer.bore_px.u() < best->bore_px.u()) best = &layer;
    }
    if (best == nullptr) return;
    std::vector<const Hole*> sound;
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k) {
        const Hole& layer = hole.by_layer[k];
        if (shows_edge(layer) && layer.bore_px.u() > worse_fit * best->bore_px.u()) astray[k] = 1;
        if (astray[k] == 0 && shows_edge(layer)) sound.push_back(&layer);
    }
    hole.whole.bore_px = mean_of(sound, &Hole::bore_px);
    hole.whole.drill_px = mean_of(sound, &Hole::drill_px);
    place(flat, pitch_px, astray, hole);
    const Hole shape_of = *best;
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k)
        if (astray[k] != 0) replace(flat, pitch_px, shape_of, hole, k, hole.by_layer[k]);
}

void unbend(const FlatStack& flat, double pitch_px, double depth_px, Hole& layer) {
    KeepOut& keepout = layer.keepout;
    const double wall = (layer.drill_px ? layer.drill_px : layer.bore_px).value_or(0) / 2;
    const auto change = [&](double angle_deg, double gap) {
        const double turn = angle_deg * std::numbers::pi / 180;
        const Point out{std::cos(turn), -std::sin(turn)}, c = layer.centre_px;
        const auto at = [&](double r) {
            return moved(flat, pitch_px, depth_px, {c.x + r * out.x, c.y + r * out.y}, out);
        };
        return at(wall + gap) - at(wall);
    };
    for (GapSample& sample : keepout.profile)
        if (sample.reason == GapReason::measured) sample.gap_px += change(sample.angle_deg, sample.gap_px);
    if (keepout.state != KeepOutState::ring_seen || !keepout.min_px) return;
    const double by = change(keepout.min_angle_deg, keepout.min_px.value());
    keepout.min_px = Estimate::of(keepout.min_px.value() + by, keepout.min_px.u());
    keepout.p_low_px += by;
}

} // namespace ringwall::layers
