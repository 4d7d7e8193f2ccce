// SPDX-License-Identifier: Apache-2.0
#include "pictures/axis.hpp"
#include "pictures/hole_figures.hpp"
#include "pictures/hole_marks.hpp"
#include "pictures/vector_canvas.hpp"
#include "record/position.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr double width = 500, height = 124; ///< points: 176 mm wide on the page
constexpr double left = 52, right = 10, top = 8, bottom = 30, text = 8;

/// The profile in one unit, mm where there is a scale.
struct Curve {
    struct Sample {
        double angle_deg;
        std::optional<double> gap, u;
        std::string why;
    };
    std::vector<Sample> samples;
    std::string unit;
    std::optional<double> reach, needed; ///< of the metal from the wall; that plus the spacing
    double highest = 1;                  ///< of the axis

    [[nodiscard]] double x(double angle_deg) const { return left + (width - left - right) * angle_deg / 360; }
    [[nodiscard]] double y(double gap) const {
        return height - bottom - (height - top - bottom) * gap / highest;
    }
};

void add_screw(Curve& curve, const HoleRecord& hole) {
    const Estimate& wall = hole.drill_mm ? hole.drill_mm : hole.bore_mm;
    if (!hole.screw || !wall || curve.unit != "mm") return;
    const ScrewFit& fit = *hole.screw;
    curve.reach = drawn_reach_mm(fit) - wall.value() / 2;
    if (fit.required_mm) curve.needed = *curve.reach + *fit.required_mm;
}

/// High enough for what decides: the narrow part, the screw; a wide part may leave through the top.
double highest_of(const Curve& curve) {
    double least = 0, most = 0;
    for (const auto& sample : curve.samples) {
        if (!sample.gap) continue;
        least = least > 0 ? std::min(least, *sample.gap) : *sample.gap;
        most = std::max(most, *sample.gap + 2 * sample.u.value_or(0));
    }
    const double screw = std::max(curve.reach.value_or(0), curve.needed.value_or(0));
    const double wish = std::max({3 * least, 2.5 * screw, curve.unit == "mm" ? 0.5 : 20.0});
    return 1.06 * std::max(std::min(most, wish), std::max(screw, 1e-3));
}

Curve curve_of(const HoleRecord& hole) {
    Curve curve;
    const auto& profile = hole.keepout.profile;
    const bool mm = hole.bore_mm.has_value() ||
                    std::any_of(profile.begin(), profile.end(), [](const auto& g) { return g.gap_mm; });
    curve.unit = mm ? "mm" : "px";
    for (const auto& gap : profile)
        curve.samples.push_back(
            {gap.angle_deg, mm ? gap.gap_mm : gap.gap_px, mm ? gap.u_mm : std::optional<double>(), gap.why});
    add_screw(curve, hole);
    curve.highest = highest_of(curve);
    return curve;
}

void draw_axes(VectorCanvas& canvas, const Curve& curve) {
    using Anchor = VectorCanvas::Anchor;
    const auto& ink = print_palette::ink;
    for (const auto& tick : ticks(0, curve.highest, 6)) {
        const double y = curve.y(tick.value);
        canvas.line({{left, y}, {width - right, y}}, false, LineStyle::solid, 0.4, print_palette::faint);
        canvas.text({left - 4, y + text * 0.36}, tick.text, text, Anchor::end, ink);
    }
    for (int angle = 0; angle <= 360; angle += 45) {
        const double x = curve.x(angle), y = height - bottom;
        canvas.line({{x, y}, {x, y + 3}}, false, LineStyle::solid, 0.7, ink);
        canvas.text({std::min(x, width - 10), y + 12}, std::to_string(angle) + "°", text, Anchor::middle,
                    ink);
    }
    canvas.line({{left, top}, {left, height - bottom}, {width - right, height - bottom}}, false,
                LineStyle::solid, 0.7, ink);
    canvas.text_upward({11, (height - bottom + top) / 2}, "gap, " + curve.unit, text, ink);
    canvas.text({(left + width) / 2, height - 4}, "angle, anticlockwise, 0° to the right", text,
                Anchor::middle, ink);
}

using Run = std::vector<const Curve::Sample*>;

/// Stretches of directions that one line may join.
std::vector<Run> runs_of(const Curve& curve, const HoleRecord& hole) {
    std::vector<Run> runs;
    const Curve::Sample* before = nullptr;
    const double wall = hole_radius(hole), to_px = hole.bore_mm && hole.bore_px && hole.bore_mm.value() > 0
                                                       ? hole.bore_px.value() / hole.bore_mm.value()
                                                       : 1;
    for (const auto& sample : curve.samples) {
        if (!sample.gap) {
            before = nullptr;
            continue;
        }
        const auto radius = [&](const Curve::Sample& s) { return wall + *s.gap * to_px; };
        if (before == nullptr || apart(radius(*before), radius(sample))) runs.emplace_back();
        runs.back().push_back(&sample);
        before = &sample;
    }
    return runs;
}

void draw_run(VectorCanvas& canvas, const Curve& curve, const Run& run) {
    std::vector<Point> middle, upper, band;
    for (const auto* s : run) {
        const double spread = 2 * s->u.value_or(0), x = curve.x(s->angle_deg);
        middle.push_back({x, curve.y(*s->gap)});
        upper.push_back({x, curve.y(*s->gap + spread)});
        band.push_back({x, curve.y(std::max(0.0, *s->gap - spread))});
    }
    if (run.size() == 1) {
        canvas.fill_circle(middle.front(), 0.8, print_palette::wall);
        return;
    }
    band.insert(band.end(), upper.rbegin(), upper.rend());
    canvas.fill({band}, print_palette::band);
    canvas.line(middle, false, LineStyle::solid, 1.1, print_palette::wall);
}

void draw_missing(VectorCanvas& canvas, const Curve& curve) {
    const double y = height - bottom;
    for (const auto& sample : curve.samples) {
        if (sample.gap || sample.why == "none") continue;
        const double x = curve.x(sample.angle_deg), half = (width - left - right) / 720;
        const Colour colour = sample.why == "own" ? print_palette::own : print_palette::unseen;
        const double depth = sample.why == "own" ? 5 : 9;
        const double x0 = std::max(left, x - half), x1 = std::min(width - right, x + half);
        canvas.fill({{{x0, y - depth}, {x1, y - depth}, {x1, y}, {x0, y}}}, colour);
    }
}

} // namespace

std::string gap_curve_svg(const HoleRecord& hole) {
    if (hole.keepout.profile.empty()) return {};
    const Curve curve = curve_of(hole);
    VectorCanvas canvas(width, height);
    draw_axes(canvas, curve);
    canvas.clip(left, top, width - left - right, height - top - bottom);
    draw_missing(canvas, curve);
    for (const auto& run : runs_of(curve, hole))
        draw_run(canvas, curve, run);
    const auto across = [&](double gap, LineStyle style) {
        canvas.line({{left, curve.y(gap)}, {width - right, curve.y(gap)}}, false, style, 1,
                    print_palette::contact);
    };
    if (curve.reach) across(*curve.reach, LineStyle::dashed);
    if (curve.needed) across(*curve.needed, LineStyle::dash_dot);
    canvas.end_clip();
    return canvas.svg();
}

} // namespace ringwall
