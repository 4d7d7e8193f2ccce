// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/flat_stack.hpp"
#include "ringwall/phantom_volume.hpp"

#include <utility>
#include <vector>

namespace ringwall::test {

/// A drawn board in a small volume, held; every slice as a scanner would store it.
struct DrawnVolume {
    phantom::Board board;
    phantom::VolumeScan scan;
    std::vector<Image<std::uint16_t>> slices;

    DrawnVolume(phantom::Board drawn, const phantom::VolumeScan& how) : board(std::move(drawn)), scan(how) {
        const phantom::VolumePainter painter(board, scan);
        for (int z = 0; z < scan.slices; ++z) {
            slices.emplace_back(painter.width(), painter.height());
            painter.scan_slice(z, slices.back().view());
        }
    }
    [[nodiscard]] Volume volume() const {
        Volume v;
        v.width_px = slices.front().width(), v.height_px = slices.front().height();
        v.slices = static_cast<int>(slices.size());
        v.read_slice = [this](int z, ImageView<float> out) {
            const auto& slice = slices[static_cast<std::size_t>(z)];
            for (int y = 0; y < out.height(); ++y)
                for (int x = 0; x < out.width(); ++x)
                    out(x, y) = slice(x, y);
        };
        return v;
    }
};

/// Four layers of 70 um in 1 mm, 11 x 8 mm, drawn at random.
inline phantom::Board small_board(std::uint64_t seed) {
    phantom::RandomBoard choice;
    choice.seed = seed, choice.width_mm = 11, choice.height_mm = 8, choice.hardware_holes = 2,
    choice.vias = 6;
    choice.whole_board_in_view = false;
    phantom::Board board = phantom::random_board(choice);
    board.thickness_mm = 1;
    board.layers.resize(4, board.layers.front());
    for (phantom::CopperLayer& layer : board.layers)
        layer.thickness_um = 70;
    return board;
}

inline phantom::VolumeScan small_scan() {
    phantom::VolumeScan scan;
    scan.slices = 72;
    scan.tilt_x_deg = 0.8, scan.tilt_y_deg = -0.6, scan.bow_mm = 0.08;
    scan.ring_artefacts = 0.05, scan.cupping = 0.05;
    return scan;
}

} // namespace ringwall::test
