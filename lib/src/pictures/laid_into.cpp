// SPDX-License-Identifier: Apache-2.0
#include "pictures/laid_into.hpp"

#include "bridge/parallel.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ringwall {
namespace {

/// Directions of the revised picture in the old one. Angles run anticlockwise as seen, y down.
struct Turn {
    double deg = 0;
    bool mirrored = false;
    explicit Turn(const Similarity& similarity)
        : deg(std::atan2(similarity.a_y, similarity.a_x) * 180 / std::numbers::pi),
          mirrored(similarity.mirrored) {}
    [[nodiscard]] double operator()(double revised_deg) const {
        const double old = mirrored ? -(revised_deg + deg) : revised_deg + deg;
        return old - 360 * std::floor(old / 360);
    }
    [[nodiscard]] Arc operator()(const Arc& arc) const {
        return mirrored ? Arc{(*this)(arc.to_deg), (*this)(arc.from_deg)}
                        : Arc{(*this)(arc.from_deg), (*this)(arc.to_deg)};
    }
};

template<typename Samples>
void turn_all(Samples& samples, const Turn& turn) {
    for (auto& sample : samples)
        sample.angle_deg = turn(sample.angle_deg);
    std::sort(samples.begin(), samples.end(),
              [](const auto& a, const auto& b) { return a.angle_deg < b.angle_deg; });
}

} // namespace

HoleRecord laid_into_old(const HoleRecord& revised_hole, const compare::Frame& frame,
                         const Similarity& similarity) {
    HoleRecord hole = revised_hole;
    const Turn turn(similarity);
    const double factor = 1 / frame.scale();
    const Point at = frame.old_px({hole.x_px, hole.y_px});
    hole.x_px = at.x, hole.y_px = at.y;
    hole.bore_px = hole.bore_px.scaled(factor), hole.drill_px = hole.drill_px.scaled(factor);
    hole.keepout.min_px = hole.keepout.min_px.scaled(factor);
    if (hole.keepout.min_angle_deg) hole.keepout.min_angle_deg = turn(*hole.keepout.min_angle_deg);
    for (auto& point : hole.contour)
        point.radius_px *= factor;
    turn_all(hole.contour, turn);
    for (auto& gap : hole.keepout.profile)
        if (gap.gap_px) *gap.gap_px *= factor;
    turn_all(hole.keepout.profile, turn);
    for (auto* arcs :
         {&hole.keepout.touching_arcs_deg, &hole.keepout.runs_on_arcs_deg, &hole.hidden_arcs_deg})
        for (Arc& arc : *arcs)
            arc = turn(arc);
    return hole;
}

void paint_mapped(Canvas& canvas, const Panel& panel, ImageView<const float> t, GreyRange range,
                  const std::function<Point(Point)>& picture_px, double step_px) {
    const auto pixels = canvas.pixels();
    const std::uint32_t outside = 0xFF000000U | static_cast<std::uint32_t>(palette::panel.r) << 16 |
                                  static_cast<std::uint32_t>(palette::panel.g) << 8 | palette::panel.b;
    const int finer = std::clamp(static_cast<int>(std::ceil(step_px)), 1, 4);
    const auto shade = [&](int column, int row) {
        double sum = 0;
        for (int i = 0; i < finer * finer; ++i) {
            const int across = i % finer, down = i / finer;
            const Point at{column + (across + 0.5) / finer, row + (down + 0.5) / finer};
            const Point px = picture_px(at);
            if (!(px.x > -0.5 && px.y > -0.5 && px.x < t.width() - 0.5 && px.y < t.height() - 0.5))
                return outside;
            sum += static_cast<double>(value_at(t, px));
        }
        return grey_of(static_cast<float>(sum / (finer * finer)), range);
    };
    bridge::over_rows(panel.height, [&](int first, int last) {
        for (int row = first; row < last; ++row) {
            std::uint32_t* to = pixels.row(panel.y + row) + panel.x;
            for (int column = 0; column < panel.width; ++column)
                to[column] = shade(column, row);
        }
    });
}

} // namespace ringwall
