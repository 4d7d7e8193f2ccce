// SPDX-License-Identifier: Apache-2.0
#include "pictures/overlay.hpp"

#include "pictures/hole_marks.hpp"
#include "pictures/labels.hpp"
#include "pictures/legend.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall {
namespace {

/// Grey range of the picture: the middle 99.4 % of its values, so that single hot pixels do not set the
/// contrast.
std::array<float, 2> display_range(ImageView<const float> t) {
    std::vector<float> sample;
    const std::size_t step = std::max<std::size_t>(1, t.size() / 200000);
    const auto width = static_cast<std::size_t>(t.width());
    for (std::size_t i = 0; i < t.size(); i += step) {
        const float value = t(static_cast<int>(i % width), static_cast<int>(i / width));
        if (std::isfinite(value)) sample.push_back(value);
    }
    if (sample.empty()) return {0, 1};
    const auto at = [&](double share) {
        const auto place =
            sample.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(sample.size() - 1));
        std::nth_element(sample.begin(), place, sample.end());
        return *place;
    };
    const float low = at(0.003), high = at(0.997);
    return high > low ? std::array{low, high} : std::array{low - 1, low + 1};
}

/// Never quite black or white: lines and labels of every colour stay visible.
std::uint32_t grey_of(float value, float low, float scale) {
    const float share = std::isfinite(value) ? std::clamp((value - low) * scale, 0.0F, 1.0F) : 0.0F;
    const auto grey = static_cast<std::uint32_t>(24 + 206 * share);
    return 0xFF000000U | grey << 16 | grey << 8 | grey;
}

void paint_picture(Canvas& canvas, const OverlayLayout& layout, ImageView<const float> t) {
    const auto [low, high] = display_range(t);
    const float scale = 1 / (high - low);
    const auto pixels = canvas.pixels();
    std::vector<int> column(static_cast<std::size_t>(layout.picture_width));
    for (int x = 0; x < layout.picture_width; ++x) {
        column[static_cast<std::size_t>(x)] = std::min(static_cast<int>(x / layout.zoom), t.width() - 1);
    }
    for (int y = 0; y < layout.picture_height; ++y) {
        const float* from = t.row(std::min(static_cast<int>(y / layout.zoom), t.height() - 1));
        std::uint32_t* to = pixels.row(y);
        for (int x = 0; x < layout.picture_width; ++x)
            to[x] = grey_of(from[column[static_cast<std::size_t>(x)]], low, scale);
    }
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

std::vector<Label> labels_of(const BoardRecord& record, const OverlayLayout& layout) {
    std::vector<Label> labels;
    for (const auto& hole : record.holes) {
        if (hole.kind == HoleKind::via)
            labels.push_back({&hole, hole.id, "", layout.label_text * 0.75});
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

LabelWish wish_of(const Label& label, const OverlayLayout& layout, Canvas& canvas) {
    const double width =
        std::max(canvas.text_width(label.first, label.size), canvas.text_width(label.second, label.size));
    const double lines = label.second.empty() ? 1 : 2, pad = label.size * 0.5;
    const double small = layout.label_text * 0.75;
    LabelWish wish;
    wish.at = {layout.at({label.hole->x_px, label.hole->y_px}), outer_radius(*label.hole) * layout.zoom};
    wish.full = {width + pad, label.size * (1.25 * lines + 0.2)};
    if (!label.via()) wish.brief = {canvas.text_width(label.hole->id, small) + 0.5 * small, 1.45 * small};
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

/// Returns how many hardware holes found no room for their whole label.
int draw_labels(Canvas& canvas, const OverlayLayout& layout, const BoardRecord& record) {
    const std::vector<Label> labels = labels_of(record, layout);
    std::vector<LabelWish> wishes;
    wishes.reserve(labels.size());
    for (const auto& label : labels)
        wishes.push_back(wish_of(label, layout, canvas));
    std::vector<Disk> disks;
    for (const auto& hole : record.holes) {
        disks.push_back({layout.at({hole.x_px, hole.y_px}), outer_radius(hole) * layout.zoom});
    }
    const auto places = place_labels(wishes, disks, layout.picture_width, layout.picture_height);
    int left_out = 0;
    for (std::size_t i = 0; i < labels.size(); ++i) {
        if (places[i]) draw_label(canvas, layout, labels[i], *places[i]);
        if (!labels[i].via() && (!places[i] || places[i]->brief)) ++left_out;
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

std::unique_ptr<Canvas> draw_overlay(ImageView<const float> t, const BoardRecord& record) {
    const OverlayLayout layout = overlay_layout(t.width(), t.height(), hardware_holes(record));
    const Legend legend(record, layout);
    auto canvas = std::make_unique<Canvas>(std::max(layout.picture_width, legend.least_width()),
                                           layout.picture_height + legend.height(layout.picture_width));
    paint_picture(*canvas, layout, t);
    for (const auto& hole : record.holes)
        draw_marks(*canvas, layout, hole);
    const int left_out = draw_labels(*canvas, layout, record);
    legend.draw(*canvas, left_out);
    return canvas;
}

} // namespace ringwall
