// SPDX-License-Identifier: Apache-2.0
// Slice stacks drawn at random: 640 x 400 x 120 voxels of 25 um, blur 1 voxel, laminate SNR 18, tilt up to
// 1 degree, bow up to 0.12 mm, ring artefacts, cupping 5 %; and scans that are harder in one way.
#pragma once

#include "bridge/parallel.hpp"
#include "phantom/random.hpp"
#include "ringwall/error.hpp"
#include "ringwall/flat_stack.hpp"
#include "ringwall/phantom_volume.hpp"

#include <string>
#include <vector>

namespace ringwall::test {

struct DrawnStack {
    phantom::Board board;
    phantom::VolumeScan scan;
    std::vector<Image<std::uint16_t>> slices;
    [[nodiscard]] Volume volume() const {
        Volume v;
        v.width_px = slices.front().width(), v.height_px = slices.front().height();
        v.slices = static_cast<int>(slices.size());
        v.pitch_px = scan.pitch_mm / scan.voxel_mm;
        v.read_slice = [this](int z, ImageView<float> out) {
            const auto& slice = slices[static_cast<std::size_t>(z)];
            for (int y = 0; y < out.height(); ++y)
                for (int x = 0; x < out.width(); ++x)
                    out(x, y) = slice(x, y);
        };
        return v;
    }
};

/// "plain"; "streaks", "heavy": metal streaks of 0.3 and 1 laminate step at the barrels; "zblur": blur along
/// z 1.8 voxels; "slices": slices of 50 um, blur along z 40 um. False: no such word.
inline bool make_harder(const std::string& way, phantom::VolumeScan& scan) {
    if (way == "streaks") scan.metal_streaks = 0.3;
    if (way == "heavy") scan.metal_streaks = 1;
    if (way == "zblur") scan.blur_z_mm = 0.045;
    if (way == "slices") scan.pitch_mm = 0.05, scan.blur_z_mm = 0.04, scan.slices = (scan.slices + 1) / 2;
    return way == "plain" || way == "streaks" || way == "heavy" || way == "zblur" || way == "slices";
}

struct StackSize {
    double width_mm = 16, height_mm = 10;
    int slices = 120;
};
/// Every third plated hardware hole has its plating broken over 0.15 mm of depth if `broken`.
inline DrawnStack drawn_stack(std::uint64_t seed, double foil_um, bool broken = false,
                              const StackSize& size = {}, const std::string& way = "plain") {
    DrawnStack d;
    phantom::Random random(seed, 17);
    phantom::RandomBoard choice;
    choice.seed = seed, choice.width_mm = size.width_mm, choice.height_mm = size.height_mm,
    choice.hardware_holes = 3, choice.vias = 12;
    choice.whole_board_in_view = random.chance(0.5);
    d.board = phantom::random_board(choice);
    d.board.parts.clear();
    d.board.thickness_mm = random.between(1.0, 1.8);
    for (phantom::CopperLayer& layer : d.board.layers)
        layer.thickness_um = foil_um;
    d.scan.tilt_x_deg = random.between(-1, 1), d.scan.tilt_y_deg = random.between(-1, 1);
    d.scan.bow_mm = random.between(-0.12, 0.12);
    d.scan.cupping = 0.05, d.scan.ring_artefacts = 0.05;
    d.scan.slices = size.slices;
    d.scan.seed = seed;
    if (!make_harder(way, d.scan)) throw Error(Fault::usage, "no way to draw a stack is called " + way);
    if (broken)
        for (std::size_t k = seed % 3; k < 3; k += 3)
            if (d.board.drills[k].plating_um > 0)
                d.scan.breaks.push_back({k, d.board.thickness_mm / 2, d.board.thickness_mm / 2 + 0.15});
    const phantom::VolumePainter painter(d.board, d.scan);
    for (int z = 0; z < d.scan.slices; ++z)
        d.slices.emplace_back(painter.width(), painter.height());
    bridge::over_rows(d.scan.slices, [&](int first, int last) {
        for (int z = first; z < last; ++z)
            painter.scan_slice(z, d.slices[static_cast<std::size_t>(z)].view());
    });
    return d;
}

} // namespace ringwall::test
