// SPDX-License-Identifier: Apache-2.0
#include "pictures/edge_overlay.hpp"

#include "pictures/grey.hpp"
#include "pictures/overlay.hpp"
#include "pictures/scale_bar.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

Point along(Point from, Point unit, double length) {
    return {from.x + unit.x * length, from.y + unit.y * length};
}

/// Directions of the board on the canvas.
struct Axes {
    Point run, across; ///< unit; across from the low-z to the high-z face
    explicit Axes(const EdgeRecord& edge) {
        const Point a = edge.faces_px[0][0], b = edge.faces_px[0][1], c = edge.faces_px[1][0];
        const double length = std::max(1e-9, std::hypot(b.x - a.x, b.y - a.y));
        run = {(b.x - a.x) / length, (b.y - a.y) / length};
        const Point right{-run.y, run.x};
        const double side = (c.x - a.x) * right.x + (c.y - a.y) * right.y >= 0 ? 1 : -1;
        across = {side * right.x, side * right.y};
    }
};

class EdgeMarks {
  public:
    EdgeMarks(Canvas& canvas, const OverlayLayout& layout, const BoardRecord& record)
        : canvas_(canvas), layout_(layout), record_(record), edge_(*record.edge), axes_(edge_) {}

    void draw() {
        for (const auto& face : edge_.faces_px)
            canvas_.line({layout_.at(face[0]), layout_.at(face[1])}, false, LineStyle::solid,
                         0.7 * layout_.line, palette::wall);
        for (const BarrelRecord& barrel : record_.barrels)
            if (barrel.source == edge_.source) draw_barrel(barrel);
        draw_layers();
    }

  private:
    /// Bars a little longer than the board is thick, beside the barrel, so that it stays visible.
    void draw_barrel(const BarrelRecord& barrel) {
        const double half = barrel.width_px.value_or(4) / 2, reach = edge_.thickness_px.value_or(20) / 2 + 6;
        for (const double side : {-1.0, 1.0}) {
            const Point middle = along({barrel.x_px, barrel.y_px}, axes_.run, side * half);
            for (const double end : {-1.0, 1.0})
                canvas_.line({layout_.at(along(middle, axes_.across, end * (reach - 5))),
                              layout_.at(along(middle, axes_.across, end * (reach + 4)))},
                             false, LineStyle::solid, layout_.line, palette::contact);
        }
    }

    /// Numbers stand beyond the end of the board where there is room, else upon it, far enough apart to be
    /// read; a line leads from each to its layer.
    void draw_layers() {
        const double text = layout_.label_text, apart = 1.25 * text;
        const double room = 4.2 * text, lead = 1.6 * text;
        const auto& layers = edge_.layers;
        if (layers.empty()) return;
        const Point end = layout_.at(edge_.faces_px[0][1]);
        const Point there = along(end, axes_.run, room);
        const bool inside =
            there.x > 0 && there.y > 0 && there.x < layout_.picture_width && there.y < layout_.picture_height;
        const Point start = inside ? end : along(end, axes_.run, -room);
        const double middle = edge_.thickness_px.value_or(0) * layout_.zoom / 2;
        const double first = middle - apart * static_cast<double>(layers.size() - 1) / 2;
        for (std::size_t i = 0; i < layers.size(); ++i) {
            const Point on = along(start, axes_.across, layers[i].z_px.value_or(0) * layout_.zoom);
            const Point label =
                along(along(start, axes_.run, lead), axes_.across, spread(first, apart, i, middle));
            canvas_.line({along(on, axes_.run, -1.2 * text), on, label}, false, LineStyle::solid,
                         0.6 * layout_.line, palette::ring);
            canvas_.text(label.x + 0.25 * text, label.y + 0.35 * text, std::to_string(layers[i].number), text,
                         palette::ring, true);
        }
    }

    /// Where a number stands across the board: at its layer when all are far enough apart, else in a row.
    [[nodiscard]] double spread(double first, double apart, std::size_t i, double) const {
        bool free = true;
        for (std::size_t k = 1; k < edge_.layers.size(); ++k)
            free = free &&
                   (edge_.layers[k].z_px.value_or(0) - edge_.layers[k - 1].z_px.value_or(0)) * layout_.zoom >
                       apart;
        return free ? edge_.layers[i].z_px.value_or(0) * layout_.zoom
                    : first + apart * static_cast<double>(i);
    }

    Canvas& canvas_;
    const OverlayLayout& layout_;
    const BoardRecord& record_;
    const EdgeRecord& edge_;
    Axes axes_;
};

std::string layers_words(const CopperLayersRecord& layers) {
    std::string words = layers.value      ? std::to_string(*layers.value) + " copper layers"
                        : layers.at_least ? "at least " + std::to_string(*layers.at_least) + " copper layers"
                                          : "copper layers not counted";
    return layers.why.empty() ? words : words + " (" + layers.why + ")";
}

std::vector<std::string> sentences(const BoardRecord& record) {
    std::vector<std::string> list;
    const bool mm = record.thickness_mm.has_value();
    if (!record.edge) {
        list.push_back("Nothing measured: " + record.why_nothing + ".");
    } else {
        const Estimate& thickness = mm ? record.thickness_mm : record.edge->thickness_px;
        list.push_back("Thickness, copper to copper outside: " + with_expanded_u(thickness, 3) +
                       (mm ? " mm" : " px, no scale") + "; " + layers_words(record.copper_layers) + "; " +
                       std::to_string(record.barrels.size()) + " barrels seen.");
        list.emplace_back(
            "± is U, the expanded uncertainty (k = 2). Layers are counted from the upper face, of an "
            "upright board from the left one.");
    }
    list.emplace_back(
        "All copper along the beam adds up: a line does not show how far its copper reaches, nor "
        "which net it carries. Colours mean kinds of line, not good or bad.");
    return list;
}

struct Sample {
    Colour colour;
    const char* text;
};
constexpr Sample samples[] = {{palette::wall, "outer face of the board's copper"},
                              {palette::ring, "copper layer and its number"},
                              {palette::contact, "barrel of a plated hole, between the bars"}};

/// The panel below the picture: broken into lines that fit; returns how many. Only counts when not drawing.
class Panel {
  public:
    Panel(Canvas& canvas, const OverlayLayout& layout, double width, bool draw)
        : canvas_(canvas), layout_(layout), width_(width), draw_(draw) {}
    int fill(const BoardRecord& record) {
        bar(record);
        for (const Sample& sample : samples)
            item(sample);
        end_row();
        for (const std::string& sentence : sentences(record))
            flow(sentence);
        return row_;
    }

  private:
    [[nodiscard]] double text() const { return layout_.text; }
    [[nodiscard]] double baseline() const { return layout_.picture_height + (row_ + 1.1) * 1.6 * text(); }
    void end_row() { ++row_, x_ = 0; }
    void bar(const BoardRecord& record) {
        const auto source = static_cast<std::size_t>(record.edge ? record.edge->source : 0);
        ScaleBar bar;
        const double mm = source < record.sources.size() ? record.sources[source].pixel_mm.value_or(0) : 0;
        bar.unit = mm > 0 ? "mm" : "px";
        bar.unit_per_canvas = (mm > 0 ? mm : 1) / layout_.zoom;
        bar.most = layout_.picture_width / 6.0;
        bar.text = text(), bar.line = layout_.line;
        if (draw_) draw_scale_bar(canvas_, {text(), baseline()}, bar);
        end_row();
    }
    void item(const Sample& sample) {
        const double length = 3 * text(),
                     advance = length + canvas_.text_width(sample.text, text()) + 2 * text();
        if (x_ > 0 && x_ + advance > width_) end_row();
        const double left = text() + x_;
        if (draw_) {
            canvas_.line({{left, baseline() - 0.35 * text()}, {left + length, baseline() - 0.35 * text()}},
                         false, LineStyle::solid, layout_.line, sample.colour);
            canvas_.text(left + length + 0.5 * text(), baseline(), sample.text, text(), palette::ink, false);
        }
        x_ += advance;
    }
    void flow(const std::string& sentence) {
        std::string word;
        for (const char c : sentence + " ") {
            word += c;
            if (c != ' ') continue;
            const double advance = canvas_.text_width(word, text());
            if (x_ > 0 && x_ + advance > width_ - 2 * text()) end_row();
            if (draw_) canvas_.text(text() + x_, baseline(), word, text(), palette::ink, false);
            x_ += advance;
            word.clear();
        }
        end_row();
    }
    Canvas& canvas_;
    const OverlayLayout& layout_;
    double width_;
    bool draw_;
    int row_ = 0;
    double x_ = 0;
};

} // namespace

std::unique_ptr<Canvas> draw_edge_overlay(ImageView<const float> t, const BoardRecord& record) {
    const OverlayLayout layout = overlay_layout(t.width(), t.height());
    const int width = std::max(layout.picture_width, static_cast<int>(46 * layout.text));
    Canvas trial(1, 1); // text can only be measured on a canvas
    const int rows = Panel(trial, layout, width, false).fill(record);
    const int panel = static_cast<int>((rows + 0.8) * 1.6 * layout.text);
    auto canvas = std::make_unique<Canvas>(width, layout.picture_height + panel);
    paint_part(*canvas, t, {-0.5, -0.5}, layout.zoom, GreyRange::of(0, 1.05F));
    canvas->fill_box(0, layout.picture_height, width, panel, palette::panel);
    if (record.edge) EdgeMarks(*canvas, layout, record).draw();
    Panel(*canvas, layout, width, true).fill(record);
    return canvas;
}

} // namespace ringwall
