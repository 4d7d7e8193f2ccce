// SPDX-License-Identifier: Apache-2.0
#include "pictures/scale_bar.hpp"

#include "core/text.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {

double round_length(double most) {
    const double power = std::pow(10.0, std::floor(std::log10(most)));
    for (const double step : {5.0, 2.0}) {
        if (step * power <= most) return step * power;
    }
    return power;
}

void draw_scale_bar(Canvas& canvas, Point at, const ScaleBar& bar) {
    if (!(bar.unit_per_canvas > 0)) return;
    const double units = round_length(bar.most * bar.unit_per_canvas);
    const double length = units / bar.unit_per_canvas, y = at.y - bar.text * 0.35, foot = bar.text * 0.35;
    const double width = std::max(1.0, bar.line);
    canvas.line({{at.x, y}, {at.x + length, y}}, false, LineStyle::solid, width, palette::ink);
    for (const double end : {at.x, at.x + length})
        canvas.line({{end, y - foot}, {end, y + foot}}, false, LineStyle::solid, width, palette::ink);
    canvas.text(at.x + length + bar.text * 0.6, at.y, shortest(units) + " " + bar.unit, bar.text,
                palette::ink, bar.halo);
}

} // namespace ringwall
