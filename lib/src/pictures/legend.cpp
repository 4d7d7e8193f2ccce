// SPDX-License-Identifier: Apache-2.0
#include "pictures/legend.hpp"

#include "pictures/hole_marks.hpp"
#include "pictures/scale_bar.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

constexpr double row_height = 1.6; // in text heights
constexpr double sample_length = 3.2;

std::vector<std::string> words_of(const std::string& sentence) {
    std::vector<std::string> words(1);
    for (const char c : sentence) {
        if (c == ' ')
            words.emplace_back();
        else
            words.back() += c;
    }
    return words;
}

std::string title_of(const BoardRecord& record) {
    std::string title = record.name;
    if (!record.revision.empty()) title += (title.empty() ? "revision " : ", revision ") + record.revision;
    if (!record.unit.empty()) title += (title.empty() ? "unit " : ", unit ") + record.unit;
    if (!record.sources.empty()) {
        const auto& source = record.sources.front();
        title += (title.empty() ? "" : "; ") + std::filesystem::path(source.file).filename().string() +
                 ", SHA-256 " + source.sha256.substr(0, 12);
    }
    return title + "; ringwall " + record.program.version;
}

std::string holes_text(std::size_t count) {
    return std::to_string(count) + (count == 1 ? " hole" : " holes");
}

/// In pieces no wider than a row: a file may have any name.
std::vector<std::string> broken(Canvas& canvas, const std::string& word, double size, double width) {
    std::vector<std::string> parts(1);
    for (std::size_t i = 0; i < word.size();) {
        std::size_t end = i + 1; // UTF-8: a character with all its bytes
        while (end < word.size() && (word[end] & 0xC0) == 0x80)
            ++end;
        const std::string character = word.substr(i, end - i);
        if (!parts.back().empty() && canvas.text_width(parts.back() + character, size) > width)
            parts.emplace_back();
        parts.back() += character;
        i = end;
    }
    return parts;
}

} // namespace

Legend::Legend(const BoardRecord& record, const OverlayLayout& layout, LeftOut left_out, std::string caption)
    : record_(record), layout_(layout), left_out_(left_out), caption_(std::move(caption)) {}

int Legend::least_width() const {
    return static_cast<int>(layout_.text * 46);
}

int Legend::height(int picture_width) const {
    Canvas trial(1, 1); // text can only be measured on a canvas
    const int width = std::max(picture_width, least_width());
    return static_cast<int>(std::ceil((rows(trial, width, false) + 0.8) * row_height * layout_.text));
}

std::vector<Legend::Item> Legend::items() const {
    return {{style_of(WallState::plated), palette::wall, 1, "hole, wall plated"},
            {style_of(WallState::bare), palette::wall, 1, "wall bare"},
            {style_of(WallState::incomplete), palette::wall, 1, "plating incomplete"},
            {style_of(WallState::undecided), palette::wall, 1, "wall undecided"},
            {LineStyle::solid, palette::ring, 1, "copper-free ring (antipad), bar: narrowest place"},
            {LineStyle::solid, palette::contact, 2.6, "copper at the wall"},
            {LineStyle::dashed, palette::contact, 1.6, "own copper runs on into a plane"},
            {LineStyle::dotted, palette::hidden, 1, "hidden, not measured"}};
}

std::vector<std::string> Legend::sentences() const {
    const bool mm = !record_.sources.empty() && record_.sources.front().pixel_mm.has_value();
    std::vector<std::string> list;
    list.push_back(
        std::string(
            "Ø bore, keep-out: smallest copper-free ring; ± is U, the expanded uncertainty (k = 2); ") +
        (mm ? "lengths in mm." : "no scale: lengths in px."));
    if (left_out_.numbers > 0)
        list.push_back("No room for the numbers of " + holes_text(left_out_.numbers) +
                       ": small id alone, numbers in holes.csv.");
    if (left_out_.ids > 0)
        list.push_back("No room for the id of " + holes_text(left_out_.ids) +
                       ": find it by x and y in holes.csv.");
    if (!record_.why_nothing.empty()) // beside lengths in pixels "nothing" would contradict the picture
        list.push_back((record_.holes.empty() ? "Nothing measured: " : "No millimetres: ") +
                       record_.why_nothing + ".");
    list.push_back("A small id alone also stands at vias. A cross: a hole that was found and could not be "
                   "measured. Colours mean kinds of line, not good or bad.");
    for (auto& caution : cautions())
        list.push_back(std::move(caution));
    return list;
}

std::vector<std::string> Legend::cautions() const {
    std::vector<std::string> list;
    if (!record_.sources.empty()) {
        const SourceRecord& source = record_.sources.front();
        if (source.dense == DenseSide::bright)
            list.emplace_back("Shown turned over: dense is dark here, bright in the file.");
        for (const auto& warning : source.warnings)
            if (warning.starts_with("copper down to ")) list.push_back("Copper" + warning.substr(6) + ".");
    }
    list.emplace_back("Holes that carry no mark were not found: count them yourself.");
    const bool stack = !record_.sources.empty() && record_.sources.front().shot == Shot::stack;
    list.emplace_back(stack ? "Which plane is live is not visible. A gap on a picture is not insulation."
                            : "All copper layers lie on top of each other here: which plane is live is not "
                              "visible. A gap on a picture is not insulation.");
    return list;
}

void Legend::draw_scale_bar(Canvas& canvas, double x, double baseline) const {
    if (record_.sources.empty() || !record_.sources.front().pixel_mm) return;
    ScaleBar bar;
    bar.unit_per_canvas = (*record_.sources.front().pixel_xy_mm)[0] / layout_.zoom;
    bar.most = layout_.picture_width / 6.0;
    bar.text = layout_.text;
    bar.line = layout_.line;
    ringwall::draw_scale_bar(canvas, {x, baseline}, bar);
}

int Legend::rows(Canvas& canvas, int width, bool draw) const {
    const double text = layout_.text, left = text, right = width - text;
    int row = 1;
    double x = left;
    const auto baseline = [&] { return layout_.picture_height + row * row_height * text; };
    const auto new_row = [&] { ++row, x = left; };
    const auto flow = [&](const std::string& sentence, Colour colour) {
        for (const auto& word : words_of(sentence)) {
            for (const auto& part : broken(canvas, word, text, right - left)) {
                const double advance = canvas.text_width(part + " ", text);
                if (x + advance > right && x > left) new_row();
                if (draw) canvas.text(x, baseline(), part, text, colour, false);
                x += advance;
            }
        }
        new_row();
    };
    if (!caption_.empty()) flow(caption_, palette::ink);
    if (draw) draw_scale_bar(canvas, left, baseline());
    new_row();
    flow(title_of(record_), palette::ink);
    for (const auto& item : items()) {
        const double sample = text * sample_length,
                     advance = sample + text * 0.5 + canvas.text_width(item.text, text) + text * 1.4;
        if (x + advance > right && x > left) new_row();
        const double y = baseline() - text * 0.35;
        if (draw)
            canvas.line({{x, y}, {x + sample, y}}, false, item.style, layout_.line * item.width, item.colour);
        if (draw) canvas.text(x + sample + text * 0.5, baseline(), item.text, text, palette::ink, false);
        x += advance;
    }
    new_row();
    for (const auto& sentence : sentences())
        flow(sentence, palette::ink);
    return row - 1;
}

void Legend::draw(Canvas& canvas) const {
    canvas.fill_box(0, layout_.picture_height, canvas.width(), canvas.height() - layout_.picture_height,
                    palette::panel);
    (void)rows(canvas, canvas.width(), true);
}

} // namespace ringwall
