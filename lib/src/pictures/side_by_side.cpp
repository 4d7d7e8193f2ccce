// SPDX-License-Identifier: Apache-2.0
#include "pictures/side_by_side.hpp"

#include "compare/answer.hpp"
#include "compare/frame.hpp"
#include "pictures/grey.hpp"
#include "pictures/hole_marks.hpp"
#include "pictures/labels.hpp"
#include "pictures/laid_into.hpp"
#include "pictures/scale_bar.hpp"

#include <algorithm>
#include <cmath>
#include <sstream>

namespace ringwall {
namespace {

/// What both panels show, in px of the old picture (pixel corners at whole numbers), and how large.
struct Field {
    double x = 0, y = 0, width = 1, height = 1, zoom = 1;
};

/// The old picture, and whatever of the revised board's holes lies outside it.
Field field_of(const SideBySideBoard& old_board, const std::vector<HoleRecord>& revised_holes) {
    const SourceRecord& source = old_board.record->sources.front();
    double left = 0, top = 0, right = std::max(1, source.width_px), bottom = std::max(1, source.height_px);
    for (const HoleRecord& hole : revised_holes) {
        const double room = 2 * hole_radius(hole);
        left = std::min(left, hole.x_px - room), right = std::max(right, hole.x_px + room);
        top = std::min(top, hole.y_px - room), bottom = std::max(bottom, hole.y_px + room);
    }
    Field field{left, top, right - left, bottom - top, 1};
    constexpr double longest = 1700;
    field.zoom = std::min(4.0, longest / std::max(field.width, field.height));
    return field;
}

struct Side {
    Panel panel;
    std::vector<HoleRecord> holes;          ///< in px from the field's corner
    std::vector<const HoleChange*> changes; ///< of each; null: none
    bool revised = false;
};

bool is_hardware(const HoleRecord& hole) {
    return hole.kind != HoleKind::via && (hole.screw || !hole.name.empty());
}

std::string change_words(const HoleChange& change) {
    std::string text;
    const auto add = [&](const std::string& words) { text += (text.empty() ? "" : ", ") + words; };
    for (const std::string& word : change.change) {
        const bool ring = word == "wider" || word == "narrower";
        const Delta* delta = change.find(ring ? "keepout_min_mm" : word == "moved" ? "position_mm" : "");
        if (ring && delta != nullptr && delta->value)
            add("ring " + compare::delta_words(*delta, "wider", "narrower"));
        else if (ring)
            add("ring " + word);
        else if (word == "moved" && delta != nullptr && delta->value)
            add(compare::delta_words(*delta, "moved", "moved"));
        else if (word == "finding")
            add("finding changed");
        else
            add(word);
    }
    return text;
}

class Drawing {
  public:
    Drawing(const SideBySideBoard& old_board, const SideBySideBoard& revised_board,
            const Comparison& comparison)
        : boards_{&old_board, &revised_board}, comparison_(comparison),
          frame_(*old_board.record, *revised_board.record, comparison.alignment) {
        std::vector<HoleRecord> laid = revised_board.record->holes;
        for (HoleRecord& hole : laid)
            hole = laid_into_old(hole, frame_, comparison.alignment.fit->similarity);
        field_ = field_of(old_board, laid);
        layout_.zoom = field_.zoom;
        layout_.text = 22, layout_.label_text = 20, layout_.line = 1.8;
        const int width = std::max(300, static_cast<int>(std::lround(field_.width * field_.zoom)));
        const int height = std::max(1, static_cast<int>(std::lround(field_.height * field_.zoom)));
        layout_.picture_width = width, layout_.picture_height = height;
        const int top = static_cast<int>(2.2 * layout_.text), between = 16;
        sides_[0] = side({0, top, width, height}, old_board.record->holes, false);
        sides_[1] = side({width + between, top, width, height}, laid, true);
    }

    std::unique_ptr<Canvas> draw() {
        Canvas trial(1, 1);
        const int width = sides_[1].panel.x + sides_[1].panel.width;
        const double legend_top = sides_[0].panel.y + sides_[0].panel.height;
        const int height = static_cast<int>(legend_top + legend(trial, legend_top, width, false));
        auto canvas = std::make_unique<Canvas>(width, height);
        canvas->fill_box(0, 0, width, height, palette::panel);
        paint(
            *canvas, 0, [&](Point old_px) { return old_px; }, 1);
        paint(
            *canvas, 1, [&](Point old_px) { return frame_.revised_px(old_px); }, frame_.scale());
        for (const Side& side : sides_)
            draw_side(*canvas, side);
        titles(*canvas);
        legend(*canvas, legend_top, width, true);
        return canvas;
    }

  private:
    Side side(const Panel& panel, std::vector<HoleRecord> holes, bool revised) const {
        Side out;
        out.panel = panel;
        out.revised = revised;
        out.holes = std::move(holes);
        out.changes.resize(out.holes.size(), nullptr);
        for (HoleRecord& hole : out.holes)
            hole.x_px -= field_.x, hole.y_px -= field_.y;
        for (const HoleChange& change : comparison_.pairs) {
            const auto at = revised ? change.revised_hole : change.old_hole;
            if (at && !change.change.empty()) out.changes[*at] = &change;
        }
        return out;
    }

    template<typename Map>
    void paint(Canvas& canvas, std::size_t which, const Map& picture_px, double scale) const {
        const ImageView<const float> t = boards_[which]->t;
        if (t.empty()) return;
        const auto to_picture = [&](Point at) {
            return picture_px({at.x / field_.zoom + field_.x - 0.5, at.y / field_.zoom + field_.y - 0.5});
        };
        paint_mapped(canvas, sides_[which].panel, t, display_range(t, *boards_[which]->record), to_picture,
                     scale / field_.zoom);
    }

    [[nodiscard]] Mark mark_of(const HoleRecord& hole) const {
        Mark mark{layout_.at({hole.x_px, hole.y_px}), hole_radius(hole) * layout_.zoom,
                  outline(hole, layout_)};
        for (double& reach : mark.reach)
            reach = reach * layout_.zoom + layout_.line;
        return mark;
    }

    void draw_side(Canvas& canvas, const Side& side) const {
        const Point shift{side.panel.x / layout_.zoom, side.panel.y / layout_.zoom};
        for (std::size_t i = 0; i < side.holes.size(); ++i) {
            HoleRecord hole = side.holes[i];
            hole.x_px += shift.x, hole.y_px += shift.y;
            draw_marks(canvas, layout_, hole);
            if (side.changes[i] != nullptr) draw_frame(canvas, hole, *side.changes[i]);
        }
        draw_labels(canvas, side);
    }

    void draw_frame(Canvas& canvas, const HoleRecord& hole, const HoleChange& change) const {
        const bool alone = !change.old_hole || !change.revised_hole;
        const double half = hole_radius(hole) * layout_.zoom + 5 + 2 * layout_.line;
        const Point at = layout_.at({hole.x_px, hole.y_px});
        canvas.line({{at.x - half, at.y - half},
                     {at.x + half, at.y - half},
                     {at.x + half, at.y + half},
                     {at.x - half, at.y + half}},
                    true, alone ? LineStyle::dashed : LineStyle::solid, layout_.line, palette::ink);
    }

    struct Label {
        std::string first, second;
        LabelWish wish;
        bool changed = false;
    };

    std::vector<Label> labels(Canvas& canvas, const Side& side) const {
        std::vector<Label> list;
        for (std::size_t i = 0; i < side.holes.size(); ++i) {
            const HoleRecord& hole = side.holes[i];
            const HoleChange* change = side.changes[i];
            if (!is_hardware(hole) && (change == nullptr || hole.kind == HoleKind::via)) continue;
            Label label;
            label.first = hole.id + (hole.name.empty() ? "" : "  " + hole.name);
            if (change != nullptr && (side.revised || !change->revised_hole))
                label.second = change_words(*change);
            label.changed = change != nullptr && is_hardware(hole);
            const double size = layout_.label_text;
            const double width =
                std::max(canvas.text_width(label.first, size), canvas.text_width(label.second, size));
            label.wish.at = mark_of(hole);
            label.wish.full = {width + size * 0.5, size * (label.second.empty() ? 1.45 : 2.7)};
            label.wish.brief = {canvas.text_width(hole.id, 0.75 * size) + 0.4 * size, 1.1 * size};
            label.wish.may_lead = label.changed;
            list.push_back(std::move(label));
        }
        std::stable_sort(list.begin(), list.end(),
                         [](const Label& a, const Label& b) { return a.changed && !b.changed; });
        return list;
    }

    void draw_labels(Canvas& canvas, const Side& side) const {
        const auto list = labels(canvas, side);
        std::vector<LabelWish> wishes;
        std::vector<Mark> marks;
        wishes.reserve(list.size()), marks.reserve(side.holes.size());
        for (const Label& label : list)
            wishes.push_back(label.wish);
        for (const HoleRecord& hole : side.holes)
            marks.push_back(mark_of(hole));
        const auto places = place_labels(wishes, marks, side.panel.width, side.panel.height);
        for (std::size_t i = 0; i < list.size(); ++i)
            if (places[i]) draw_label(canvas, side.panel, list[i], *places[i]);
    }

    void draw_label(Canvas& canvas, const Panel& panel, const Label& label, const LabelPlace& place) const {
        const double dx = panel.x, dy = panel.y;
        if (place.led)
            canvas.line({{place.from.x + dx, place.from.y + dy}, {place.to.x + dx, place.to.y + dy}}, false,
                        LineStyle::solid, layout_.line * 0.7, palette::ink);
        const double size = layout_.label_text * (place.brief ? 0.75 : 1);
        const double x = place.box.x + dx + 0.25 * size, y = place.box.y + dy;
        const std::string id = label.first.substr(0, label.first.find(' '));
        canvas.text(x, y + 1.05 * size, place.brief ? id : label.first, size, palette::ink, true);
        if (!place.brief && !label.second.empty())
            canvas.text(x, y + 2.3 * size, label.second, size, palette::ring, true);
    }

    static std::string title_of(const char* which, const ComparedBoard& board) {
        std::string title = which;
        if (!board.name.empty()) title += ": " + board.name;
        if (!board.revision.empty()) title += ", revision " + board.revision;
        if (!board.unit.empty()) title += ", unit " + board.unit;
        return title;
    }

    void titles(Canvas& canvas) const {
        const ComparedBoard* boards[] = {&comparison_.old_board, &comparison_.revised_board};
        for (std::size_t i = 0; i < 2; ++i) {
            std::string title = title_of(i == 0 ? "Old board" : "Revised board", *boards[i]);
            if (boards_[i]->t.empty()) title += " (its picture could not be read again: holes alone)";
            double size = layout_.text;
            const double width = canvas.text_width(title, size), room = sides_[i].panel.width - size;
            if (width > room) size *= room / width;
            canvas.text(sides_[i].panel.x + 0.5 * layout_.text, 1.5 * layout_.text, title, size, palette::ink,
                        false);
        }
    }

    struct Item {
        LineStyle style;
        Colour colour;
        const char* text;
    };

    /// Height of the legend; drawn when `draw`.
    double legend(Canvas& canvas, double top, int width, bool draw) const {
        const double size = layout_.text, row = 1.6 * size;
        double x = size, y = top + row;
        if (draw) draw_bar(canvas, {x, y});
        y += row;
        const Item items[] = {
            {LineStyle::solid, palette::ink, "frame: change shown, beyond U"},
            {LineStyle::dashed, palette::ink, "frame: on this board alone"},
            {style_of(WallState::plated), palette::wall, "hole, wall plated"},
            {style_of(WallState::bare), palette::wall, "wall bare"},
            {style_of(WallState::undecided), palette::wall, "wall undecided"},
            {LineStyle::solid, palette::ring, "copper-free ring (antipad)"},
            {LineStyle::solid, palette::contact, "thick: copper at the wall; dashed: own copper runs on"}};
        for (const Item& item : items) {
            const double advance = 2.5 * size + canvas.text_width(item.text, size) + 1.4 * size;
            if (x + advance > width - size && x > size) x = size, y += row;
            if (draw) {
                canvas.line({{x, y - 0.35 * size}, {x + 2 * size, y - 0.35 * size}}, false, item.style,
                            layout_.line, item.colour);
                canvas.text(x + 2.5 * size, y, item.text, size, palette::ink, false);
            }
            x += advance;
        }
        y += row;
        for (const std::string& sentence : sentences())
            y = flow(canvas, sentence, y, width, draw);
        return y - top - 0.6 * row;
    }

    double flow(Canvas& canvas, const std::string& sentence, double y, int width, bool draw) const {
        const double size = layout_.text;
        double x = size;
        std::istringstream words(sentence);
        for (std::string word; words >> word;) {
            const double advance = canvas.text_width(word + " ", size);
            if (x + advance > width - size && x > size) x = size, y += 1.6 * size;
            if (draw) canvas.text(x, y, word, size, palette::ink, false);
            x += advance;
        }
        return y + 1.6 * size;
    }

    [[nodiscard]] std::vector<std::string> sentences() const {
        const Similarity& similarity = comparison_.alignment.fit->similarity;
        std::string laid = "The revised board is laid into the old one's orientation and scale by the holes "
                           "that stayed";
        if (similarity.mirrored) laid += "; its picture was taken from the other side and is shown mirrored";
        return {laid + ".",
                "Lengths with U, the expanded uncertainty (k = 2); all changes, vias too, stand in "
                "changes.csv. A difference not shown is not a proof that there is none.",
                "Colours mean kinds of line, not good or bad. Copper layers lie on top of each other here: "
                "which plane is live is not visible. A gap on a picture is not insulation. These are two "
                "units, not two lots."};
    }

    void draw_bar(Canvas& canvas, Point at) const {
        const SourceRecord& source = boards_[0]->record->sources.front();
        ScaleBar bar;
        const double mm = source.pixel_mm.value_or(0);
        bar.unit = mm > 0 ? "mm" : "px of the old picture";
        bar.unit_per_canvas = (mm > 0 ? mm : 1) / layout_.zoom;
        bar.most = layout_.picture_width / 5.0;
        bar.text = layout_.text;
        bar.line = layout_.line;
        draw_scale_bar(canvas, at, bar);
    }

    std::array<const SideBySideBoard*, 2> boards_;
    const Comparison& comparison_;
    compare::Frame frame_;
    Field field_;
    OverlayLayout layout_;
    std::array<Side, 2> sides_;
};

} // namespace

std::unique_ptr<Canvas> draw_side_by_side(const SideBySideBoard& old_board,
                                          const SideBySideBoard& revised_board,
                                          const Comparison& comparison) {
    return Drawing(old_board, revised_board, comparison).draw();
}

} // namespace ringwall
