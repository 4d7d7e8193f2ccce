// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/record.hpp"

#include <cmath>

namespace ringwall::test {

/// A flat picture of transmission with holes punched in, and the record of exactly these holes: what drawing
/// needs, and no measuring.
struct DrawnBoard {
    Image<float> t;
    BoardRecord record;

    DrawnBoard(int width, int height, double pixel_mm) : t(width, height) {
        for (int y = 0; y < height; ++y) {
            for (int x = 0; x < width; ++x)
                t(x, y) = 0.35F + 0.0001F * static_cast<float>((x * 7 + y * 13) % 50);
        }
        SourceRecord source;
        source.file = "drawn.tif";
        source.sha256 = "0123456789abcdef";
        source.width_px = width, source.height_px = height;
        if (pixel_mm > 0) {
            source.pixel_mm = Estimate::of(pixel_mm, pixel_mm * 0.01);
            source.pixel_xy_mm = {pixel_mm, pixel_mm};
            source.pixel_mm_from = "given by the user";
        } else {
            source.pixel_mm = Estimate::missing("no scale");
        }
        record.program.version = "0.1.0";
        record.name = "drawn board";
        record.sources = {source};
        mm_ = pixel_mm;
    }

    void punch(double cx, double cy, double radius, float value) {
        for (int y = 0; y < t.height(); ++y) {
            for (int x = 0; x < t.width(); ++x) {
                if (std::hypot(x - cx, y - cy) < radius) t(x, y) = value;
            }
        }
    }

    /// A hole with a ring of `gap` px at its narrowest (45 degrees) and twice that opposite.
    HoleRecord& add(double x, double y, double bore_px, double gap_px, WallState wall, KeepOutState state) {
        punch(x, y, bore_px / 2 + 1.5 * gap_px, 0.8F);
        punch(x, y, bore_px / 2, 0.98F);
        HoleRecord hole;
        hole.id = "H" + std::to_string(record.holes.size() + 1);
        hole.x_px = x, hole.y_px = y;
        hole.bore_px = hole.drill_px = Estimate::of(bore_px, 0.05);
        hole.bore_mm = mm(hole.bore_px);
        hole.wall.state = wall;
        hole.keepout.state = state;
        for (int a = 0; a < 360; a += 5)
            hole.contour.push_back({static_cast<double>(a), bore_px / 2, 0.1});
        if (state == KeepOutState::ring_seen) fill_ring(hole, gap_px);
        if (mm_ > 0) hole.x_mm = x * mm_, hole.y_mm = y * mm_;
        record.holes.push_back(std::move(hole));
        return record.holes.back();
    }
    HoleRecord& add_via(double x, double y, double bore_px) {
        HoleRecord& via = add(x, y, bore_px, 3, WallState::plated, KeepOutState::runs_on);
        via.kind = HoleKind::via;
        return via;
    }

  private:
    [[nodiscard]] Estimate mm(const Estimate& px) const {
        return mm_ > 0 ? px.scaled(mm_, 0.01) : Estimate::missing("no scale");
    }
    void fill_ring(HoleRecord& hole, double gap_px) const {
        hole.keepout.min_px = Estimate::of(gap_px, 0.1);
        hole.keepout.min_mm = mm(hole.keepout.min_px);
        hole.keepout.min_angle_deg = 45;
        for (int a = 0; a < 360; ++a) {
            GapRecord gap;
            gap.angle_deg = a;
            gap.gap_px = gap_px * (1.5 - 0.5 * std::cos((a - 45) * 3.14159265 / 180));
            hole.keepout.profile.push_back(gap);
        }
    }
    double mm_ = 0;
};

} // namespace ringwall::test
