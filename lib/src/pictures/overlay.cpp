// SPDX-License-Identifier: Apache-2.0
#include "pictures/overlay.hpp"

#include "bridge/parallel.hpp"
#include "pictures/grey.hpp"
#include "pictures/hole_marks.hpp"
#include "pictures/labels.hpp"
#include "pictures/legend.hpp"
#include "pictures/scale_bar.hpp"
#include "record/position.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

namespace ringwall {
namespace {

void paint_picture(Canvas& canvas, const OverlayLayout& layout, ImageView<const float> t, GreyRange range) {
    const auto pixels = canvas.pixels();
    std::vector<int> column(static_cast<std::size_t>(layout.picture_width));
    for (int x = 0; x < layout.picture_width; ++x) {
        column[static_cast<std::size_t>(x)] = std::min(static_cast<int>(x / layout.zoom), t.width() - 1);
    }
    bridge::over_rows(layout.picture_height, [&](int first, int last) {
        std::vector<float> values(column.size());
        for (int y = first; y < last; ++y) {
            const float* from = t.row(std::min(static_cast<int>(y / layout.zoom), t.height() - 1));
            for (std::size_t x = 0; x < column.size(); ++x)
                values[x] = from[column[x]];
            grey_row(values.data(), layout.picture_width, range, pixels.row(y));
        }
    });
}

struct Label {
    const HoleRecord* hole;
    std::string first, second; ///< two lines; the second may be empty
    double size;
    [[nodiscard]] bool via() const { return hole->kind == HoleKind::via; }
};

std::size_t hardware_holes(const BoardRecord& record) {
    return static_cast<std::size_t>(
        std::count_if(record.holes.begin(), record.holes.end(),
                      [](const HoleRecord& hole) { return hole.kind != HoleKind::via; }));
}

/// On a page the table beside the picture holds the rest: id and the one number.
Label page_label(const HoleRecord& hole, const OverlayLayout& layout) {
    Label label{&hole, hole.id, "", layout.label_text};
    if (!layout.one_layer && hole.screw && space_left_mm(*hole.screw))
        label.second = "space left " + with_expanded_u(space_left_mm(*hole.screw), 3) + " mm";
    else
        label.second = keepout_text(hole);
    return label;
}

std::vector<Label> labels_of(const BoardRecord& record, const OverlayLayout& layout) {
    std::vector<Label> labels;
    for (const auto& hole : record.holes) {
        if (layout.on_page && !is_reported(record, hole)) continue; // a page counts them
        if (hole.kind == HoleKind::via)
            labels.push_back({&hole, hole.id, "", layout.label_text * 0.75});
        else if (layout.on_page)
            labels.push_back(page_label(hole, layout));
        else if (!hole.bore_px && hole.kind != HoleKind::filled) // its cross says the rest
            labels.push_back({&hole, hole.id, "", layout.label_text});
        else
            labels.push_back(
                {&hole, hole.id + "  " + bore_text(hole), keepout_text(hole), layout.label_text});
    }
    std::stable_sort(labels.begin(), labels.end(), [](const Label& a, const Label& b) {
        if (a.via() || b.via()) return !a.via() && b.via();
        return a.hole->bore_px.value_or(0) > b.hole->bore_px.value_or(0);
    });
    return labels;
}

Mark mark_of(const HoleRecord& hole, const OverlayLayout& layout) {
    Mark mark{layout.at({hole.x_px, hole.y_px}), hole_radius(hole) * layout.zoom, outline(hole, layout)};
    for (double& reach : mark.reach)
        reach = reach * layout.zoom + layout.line * 0.5; // half a line's width
    return mark;
}

LabelWish wish_of(const Label& label, const OverlayLayout& layout, Canvas& canvas) {
    const double width =
        std::max(canvas.text_width(label.first, label.size), canvas.text_width(label.second, label.size));
    const double lines = label.second.empty() ? 1 : 2, pad = label.size * 0.5;
    const double small = layout.label_text * 0.75;
    LabelWish wish;
    wish.at = mark_of(*label.hole, layout);
    wish.full = {width + pad, label.size * (1.25 * lines + 0.2)};
    wish.brief = {canvas.text_width(label.hole->id, small) + 0.5 * small, 1.45 * small};
    wish.may_lead = !label.via();
    return wish;
}

void draw_label(Canvas& canvas, const OverlayLayout& layout, const Label& label, const LabelPlace& place) {
    const Box& box = place.box;
    if (place.led)
        canvas.line({place.from, place.to}, false, LineStyle::solid, layout.line * 0.7, palette::ink);
    const double size = place.brief ? layout.label_text * 0.75 : label.size, x = box.x + size * 0.25;
    canvas.text(x, box.y + size * 1.05, place.brief ? label.hole->id : label.first, size, palette::ink, true);
    if (!place.brief && !label.second.empty())
        canvas.text(x, box.y + size * 2.3, label.second, size, keepout_colour(*label.hole), true);
}

struct PlacedLabels {
    std::vector<Label> labels;
    std::vector<std::optional<LabelPlace>> places; ///< one a label
};

PlacedLabels placed_labels(const OverlayLayout& layout, const BoardRecord& record) {
    Canvas trial(1, 1); // text can only be measured on a canvas
    PlacedLabels placed{labels_of(record, layout), {}};
    std::vector<LabelWish> wishes;
    wishes.reserve(placed.labels.size());
    for (const auto& label : placed.labels)
        wishes.push_back(wish_of(label, layout, trial));
    std::vector<Mark> marks;
    marks.reserve(record.holes.size());
    for (const auto& hole : record.holes)
        marks.push_back(mark_of(hole, layout));
    placed.places = place_labels(wishes, marks, layout.picture_width, layout.picture_height);
    return placed;
}

LeftOut left_out_of(const PlacedLabels& placed) {
    LeftOut left_out;
    for (std::size_t i = 0; i < placed.labels.size(); ++i) {
        const Label& label = placed.labels[i];
        if (!placed.places[i])
            ++left_out.ids;
        else if (placed.places[i]->brief && label.first != label.hole->id)
            ++left_out.numbers;
    }
    return left_out;
}

} // namespace

OverlayLayout overlay_layout(int width_px, int height_px, std::size_t labels) {
    OverlayLayout layout;
    const double longest = std::max(width_px, height_px);
    if (longest < 1600) layout.zoom = std::min(4.0, std::ceil(1600 / longest));
    if (longest > 16000) layout.zoom = 16000 / longest;
    layout.picture_width = std::max(1, static_cast<int>(std::lround(width_px * layout.zoom)));
    layout.picture_height = std::max(1, static_cast<int>(std::lround(height_px * layout.zoom)));
    const double drawn = std::max(layout.picture_width, layout.picture_height);
    layout.text = std::max(12.0, drawn / 105);
    const double crowd = std::clamp(std::sqrt(static_cast<double>(labels) / 30), 1.0, 4.0 / 3);
    layout.label_text = std::max(12.0, layout.text / crowd);
    layout.line = std::max(1.5, drawn / 850);
    return layout;
}

namespace {

BoardRecord shown_record(const BoardRecord& record, ImageView<const float> t) {
    BoardRecord shown = record;
    for (auto& hole : shown.holes)
        hole = shown_part(hole, t);
    return shown;
}

void draw_all(Canvas& canvas, const OverlayLayout& layout, const BoardRecord& shown,
              const PlacedLabels& placed) {
    for (const auto& hole : shown.holes)
        draw_marks(canvas, layout, hole);
    for (std::size_t i = 0; i < placed.labels.size(); ++i)
        if (placed.places[i]) draw_label(canvas, layout, placed.labels[i], *placed.places[i]);
}

std::size_t reported_holes(const BoardRecord& record) {
    return static_cast<std::size_t>(
        std::count_if(record.holes.begin(), record.holes.end(),
                      [&](const HoleRecord& hole) { return is_reported(record, hole); }));
}

OverlayLayout drawn_as_long(int width_px, int height_px, double longest) {
    OverlayLayout layout;
    layout.on_page = true;
    layout.zoom = std::min(4.0, longest / std::max(width_px, height_px));
    layout.picture_width = std::max(1, static_cast<int>(std::lround(width_px * layout.zoom)));
    layout.picture_height = std::max(1, static_cast<int>(std::lround(height_px * layout.zoom)));
    return layout;
}

/// Printed 176 mm wide or 200 mm high, 1500 canvas pixels are 8.5 a mm: text of 8 points is 24 high.
OverlayLayout page_layout(int width_px, int height_px, std::size_t labels) {
    OverlayLayout layout = drawn_as_long(width_px, height_px, 1500);
    layout.text = 24;
    layout.label_text = labels > 24 ? 18 : 22;
    layout.line = 2.2;
    return layout;
}

/// Printed 84 mm wide, 800 canvas pixels are 9.5 a mm: text of 6.5 points is 22 high.
OverlayLayout figure_layout(int width_px, int height_px) {
    OverlayLayout layout = drawn_as_long(width_px, height_px, 800);
    layout.one_layer = true;
    layout.text = layout.label_text = 22;
    layout.line = 2;
    return layout;
}

std::unique_ptr<Canvas> drawn_for_page(ImageView<const float> t, const BoardRecord& record,
                                       const OverlayLayout& layout) {
    const BoardRecord shown = shown_record(record, t);
    const int strip = static_cast<int>(1.8 * layout.text);
    auto canvas = std::make_unique<Canvas>(layout.picture_width, layout.picture_height + strip);
    paint_part(*canvas, t, {0, 0}, layout.zoom, display_range(t, record));
    draw_all(*canvas, layout, shown, placed_labels(layout, shown));
    canvas->fill_box(0, layout.picture_height, canvas->width(), strip, palette::panel);
    ScaleBar bar;
    const double mm = record.sources.empty() ? 0 : record.sources.front().pixel_mm.value_or(0);
    bar.unit = mm > 0 ? "mm" : "px";
    bar.unit_per_canvas = (mm > 0 ? mm : 1) / layout.zoom;
    bar.most = layout.picture_width / 5.0;
    bar.text = layout.text;
    bar.line = layout.line;
    draw_scale_bar(*canvas, {layout.text * 0.5, layout.picture_height + strip - 0.55 * layout.text}, bar);
    return canvas;
}

} // namespace

std::unique_ptr<Canvas> draw_overlay(ImageView<const float> t, const BoardRecord& record,
                                     const std::string& caption) {
    const OverlayLayout layout = overlay_layout(t.width(), t.height(), hardware_holes(record));
    const BoardRecord shown = shown_record(record, t);
    const PlacedLabels placed = placed_labels(layout, shown);
    const Legend legend(record, layout, left_out_of(placed), caption);
    auto canvas = std::make_unique<Canvas>(std::max(layout.picture_width, legend.least_width()),
                                           layout.picture_height + legend.height(layout.picture_width));
    paint_picture(*canvas, layout, t, display_range(t, record));
    draw_all(*canvas, layout, shown, placed);
    legend.draw(*canvas);
    return canvas;
}

std::unique_ptr<Canvas> draw_page_overlay(ImageView<const float> t, const BoardRecord& record) {
    return drawn_for_page(t, record, page_layout(t.width(), t.height(), reported_holes(record)));
}

std::unique_ptr<Canvas> draw_layer_figure(ImageView<const float> t, const BoardRecord& record) {
    return drawn_for_page(t, record, figure_layout(t.width(), t.height()));
}

} // namespace ringwall
