// SPDX-License-Identifier: Apache-2.0
#include "terminal.hpp"

#include <algorithm>
#include <charconv>

namespace ringwall::cli {
namespace {

std::string fixed(double value, int decimals) {
    char text[64];
    const auto [end, error] =
        std::to_chars(text, text + sizeof text, value, std::chars_format::fixed, decimals);
    return error == std::errc() ? std::string(text, end) : "?";
}

/// Value and expanded uncertainty: "3.302 ±0.034".
std::string with_u(const Estimate& estimate, int decimals) {
    if (!estimate) return "-";
    return fixed(estimate.value(), decimals) + " ±" + fixed(2 * estimate.u(), decimals);
}

std::string kind_words(HoleKind kind) {
    switch (kind) {
    case HoleKind::hole:
        return "hole";
    case HoleKind::via:
        return "via";
    case HoleKind::slot:
        return "slot";
    case HoleKind::filled:
        return "filled";
    }
    return {};
}

std::string wall_words(WallState wall) {
    switch (wall) {
    case WallState::plated:
        return "plated";
    case WallState::bare:
        return "bare";
    case WallState::incomplete:
        return "incomplete";
    case WallState::undecided:
        return "undecided";
    }
    return {};
}

std::string touching_words(const KeepOutRecord& keepout, bool mm) {
    const Estimate& min = mm ? keepout.min_mm : keepout.min_px;
    if (!min) return "touches copper";
    return "touches copper: no gap of " + fixed(2 * min.u(), mm ? 3 : 2) + (mm ? " mm" : " px") + " or more";
}

std::string keepout_words(const HoleRecord& hole, bool mm) {
    const KeepOutRecord& keepout = hole.keepout;
    switch (keepout.state) {
    case KeepOutState::ring_seen:
        return "ring seen";
    case KeepOutState::touching:
        return touching_words(keepout, mm);
    case KeepOutState::runs_on:
        return "own copper runs on into a plane";
    case KeepOutState::none_in_view:
        return keepout.searched_to_mm ? "no copper within " + fixed(*keepout.searched_to_mm, 2) + " mm"
                                      : "no copper in view";
    case KeepOutState::undecided:
        return "undecided" + (keepout.why.empty() ? "" : ": " + keepout.why);
    }
    return {};
}

/// Text columns padded to their widest entry; "±" is two bytes and one column.
class Grid {
  public:
    void add(std::vector<std::string> row) { rows_.push_back(std::move(row)); }
    [[nodiscard]] std::string text() const {
        std::string text;
        for (const auto& row : rows_) {
            for (std::size_t i = 0; i < row.size(); ++i) {
                const bool last = i + 1 == row.size();
                text += row[i] + (last ? "\n" : std::string(2 + width_of_column(i) - width(row[i]), ' '));
            }
        }
        return text;
    }

  private:
    static std::size_t width(const std::string& text) {
        return static_cast<std::size_t>(
            std::count_if(text.begin(), text.end(), [](char c) { return (c & 0xC0) != 0x80; }));
    }
    [[nodiscard]] std::size_t width_of_column(std::size_t i) const {
        std::size_t widest = 0;
        for (const auto& row : rows_)
            widest = std::max(widest, width(row[i]));
        return widest;
    }
    std::vector<std::vector<std::string>> rows_;
};

std::vector<std::string> row_of(const HoleRecord& hole, bool mm) {
    return {hole.id,
            kind_words(hole.kind),
            fixed(mm ? *hole.x_mm : hole.x_px, mm ? 2 : 1),
            fixed(mm ? *hole.y_mm : hole.y_px, mm ? 2 : 1),
            with_u(mm ? hole.bore_mm : hole.bore_px, mm ? 3 : 2),
            wall_words(hole.wall.state),
            with_u(mm ? hole.keepout.min_mm : hole.keepout.min_px, mm ? 3 : 2),
            keepout_words(hole, mm)};
}

std::string holes_text(const BoardRecord& record, bool mm) {
    Grid grid;
    const std::string unit = mm ? " mm" : " px";
    grid.add({"id", "kind", "x" + unit, "y" + unit, "bore" + unit, "wall", "keep-out" + unit, "state"});
    std::size_t vias = 0;
    for (const auto& hole : record.holes) {
        if (hole.kind == HoleKind::via)
            ++vias;
        else
            grid.add(row_of(hole, mm));
    }
    std::string text = record.holes.size() > vias ? grid.text() : "";
    if (vias > 0) text += std::to_string(vias) + (vias == 1 ? " via" : " vias") + ": see holes.csv\n";
    if (!record.holes.empty())
        text += "± is U, the expanded uncertainty (k = 2); x, y from the first pixel's centre, y down\n";
    return text;
}

} // namespace

std::string table_of(const BoardRecord& record) {
    const bool mm = !record.sources.empty() && record.sources.front().pixel_mm.has_value();
    std::string text = holes_text(record, mm);
    for (const auto& source : record.sources) {
        if (mm) text += "scale: " + source.pixel_mm_from + "\n";
        for (const auto& warning : source.warnings)
            text += "note: " + warning + "\n";
    }
    if (!record.why_nothing.empty()) text += "nothing measured: " + record.why_nothing + "\n";
    return text + "clearance on a picture is not insulation; what is not proven stands in results.json\n";
}

} // namespace ringwall::cli
