// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "compare/drawn_pairs.hpp"
#include "ringwall/compare.hpp"

#include <map>

namespace ringwall::test {

/// A hole for hardware as a record holds it: bore and ring in px with noise of `u_px`, in mm with the
/// scale's.
inline HoleRecord record_hole(const std::string& id, Point at, double bore_px, double ring_px,
                              double pixel_mm, double relative_u, double u_px) {
    HoleRecord hole;
    hole.id = id;
    hole.x_px = at.x, hole.y_px = at.y, hole.u_x_px = hole.u_y_px = u_px;
    hole.bore_px = Estimate::of(bore_px, u_px);
    hole.bore_mm = hole.bore_px.scaled(pixel_mm, relative_u);
    hole.drill_px = hole.bore_px, hole.drill_mm = hole.bore_mm;
    hole.wall.state = WallState::bare;
    hole.shape.state = HoleShape::round;
    hole.keepout.state = KeepOutState::ring_seen;
    hole.keepout.min_px = Estimate::of(ring_px, u_px);
    hole.keepout.min_mm = hole.keepout.min_px.scaled(pixel_mm, relative_u);
    hole.keepout.searched_to_mm = 3;
    return hole;
}

inline BoardRecord record_board(const std::string& revision, double pixel_mm, double relative_u) {
    BoardRecord board;
    board.name = "drawn", board.revision = revision;
    board.sources.emplace_back();
    SourceRecord& source = board.sources.front();
    source.file = revision + ".tif", source.sha256 = "of " + revision;
    source.width_px = 4000, source.height_px = 3000;
    source.pixel_mm = Estimate::of(pixel_mm, pixel_mm * relative_u);
    source.pixel_xy_mm = {pixel_mm, pixel_mm};
    board.thickness_mm = Estimate::missing("a face-on picture does not show the board's thickness");
    return board;
}

/// What truly changed of a pair, in mm.
struct TrueChange {
    double moved_mm = 0, bore_mm = 0, ring_mm = 0;
};

struct DrawnRecords {
    BoardRecord old_board, revised_board;
    std::map<std::string, TrueChange> changed; ///< by old id; ids are the same on both boards
};

/// Two boards of `holes` hardware holes. A third of them changes in bore, ring or place by `least_u` to twice
/// that many standard uncertainties of the difference. Both scales are off as their u says.
inline DrawnRecords drawn_records(std::uint64_t seed, int holes, double least_u) {
    phantom::Random random(seed, 9);
    constexpr double true_mm = 0.025, relative_u = 0.002, u_px = 0.06;
    const double old_mm = true_mm * (1 + relative_u * random.normal()),
                 revised_mm = true_mm * (1 + relative_u * random.normal());
    DrawnRecords drawn{record_board("A", old_mm, relative_u), record_board("B", revised_mm, relative_u), {}};
    const double angle = random.between(-0.05, 0.05);
    const Similarity by{std::cos(angle), std::sin(angle), random.between(-20, 20), random.between(-20, 20),
                        false};
    const auto noise = [&] { return u_px * random.normal(); };
    for (int i = 0; i < holes; ++i) {
        const std::string id = "H" + std::to_string(i + 1);
        const Point at{random.between(300, 3700), random.between(300, 2700)};
        const double bore = random.between(40, 140), ring = random.between(8, 60);
        TrueChange truth;
        const double u_mm = std::sqrt(2.0) * u_px * true_mm;
        const double size = random.between(least_u, 2 * least_u) * (random.chance(0.5) ? 1 : -1);
        if (i % 9 == 0) truth.moved_mm = std::abs(size) * u_mm;
        // The scales' part grows with the length: at most left = 0.002 * sqrt(2) * 3 sigma of it.
        if (i % 9 == 3) truth.bore_mm = size * std::hypot(u_mm, bore * true_mm * 0.0085);
        if (i % 9 == 6) truth.ring_mm = size * std::hypot(u_mm, ring * true_mm * 0.0085);
        drawn.changed[id] = truth;
        drawn.old_board.holes.push_back(record_hole(id, {at.x + noise(), at.y + noise()}, bore + noise(),
                                                    ring + noise(), old_mm, relative_u, u_px));
        const double way = random.between(0, 2 * std::numbers::pi);
        Point there = by(at);
        there.x += truth.moved_mm / true_mm * std::cos(way) + noise();
        there.y += truth.moved_mm / true_mm * std::sin(way) + noise();
        drawn.revised_board.holes.push_back(record_hole(id, there, bore + truth.bore_mm / true_mm + noise(),
                                                        ring + truth.ring_mm / true_mm + noise(), revised_mm,
                                                        relative_u, u_px));
    }
    return drawn;
}

/// Changes shown, false ones among them, and of the true ones that are 4 u and more, how many were shown.
struct Discoveries {
    int shown = 0, falsely = 0, large = 0, large_shown = 0;
    void add(const DrawnRecords& drawn, const Comparison& comparison) {
        for (const HoleChange& pair : comparison.pairs) {
            if (!pair.old_hole || !pair.revised_hole) continue;
            const TrueChange& truth = drawn.changed.at(pair.old_id);
            count(pair.find("position_mm"), truth.moved_mm);
            count(pair.find("bore_mm"), truth.bore_mm);
            count(pair.find("keepout_min_mm"), truth.ring_mm);
        }
    }

  private:
    void count(const Delta* delta, double truth) {
        if (delta == nullptr || !delta->value) return;
        const bool beyond = delta->beyond.value_or(false),
                   large_one = std::abs(truth) >= 4 * delta->value.u();
        shown += beyond ? 1 : 0;
        falsely += beyond && truth == 0 ? 1 : 0;
        large += large_one ? 1 : 0;
        large_shown += large_one && beyond ? 1 : 0;
    }
};

} // namespace ringwall::test
