// SPDX-License-Identifier: Apache-2.0
// Slice stacks drawn at random, laid flat, against their truth: bench_stack BOARDS SEED FOIL_UM
//
// 640 x 400 x 120 voxels of 25 um, blur 1 voxel, laminate SNR 18, tilt up to 1 degree, bow up to 0.12 mm,
// ring artefacts, cupping 5 %.
#include "bridge/parallel.hpp"
#include "phantom/random.hpp"
#include "ringwall/flat_stack.hpp"
#include "ringwall/phantom_volume.hpp"

#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>

using namespace ringwall;
using namespace ringwall::phantom;

namespace {

struct Drawn {
    Board board;
    VolumeScan scan;
    std::vector<Image<std::uint16_t>> slices;
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

Drawn drawn(std::uint64_t seed, double foil_um) {
    Drawn d;
    Random random(seed, 17);
    RandomBoard choice;
    choice.seed = seed, choice.width_mm = 16, choice.height_mm = 10, choice.hardware_holes = 3,
    choice.vias = 12;
    choice.whole_board_in_view = random.chance(0.5);
    d.board = random_board(choice);
    d.board.parts.clear();
    d.board.thickness_mm = random.between(1.0, 1.8);
    for (CopperLayer& layer : d.board.layers)
        layer.thickness_um = foil_um;
    d.scan.tilt_x_deg = random.between(-1, 1), d.scan.tilt_y_deg = random.between(-1, 1);
    d.scan.bow_mm = random.between(-0.12, 0.12);
    d.scan.cupping = 0.05, d.scan.ring_artefacts = 0.05;
    d.scan.seed = seed;
    const VolumePainter painter(d.board, d.scan);
    for (int z = 0; z < d.scan.slices; ++z)
        d.slices.emplace_back(painter.width(), painter.height());
    bridge::over_rows(d.scan.slices, [&](int first, int last) {
        for (int z = first; z < last; ++z)
            painter.scan_slice(z, d.slices[static_cast<std::size_t>(z)].view());
    });
    return d;
}

} // namespace

int main(int count, char** words) {
    const int boards = count > 1 ? std::atoi(words[1]) : 4;
    const std::uint64_t seed = count > 2 ? std::strtoull(words[2], nullptr, 10) : 1;
    const double foil_um = count > 3 ? std::atof(words[3]) : 70;
    std::printf("| board | layers | found | thickness off, voxel | u | blur | foil, voxel | off | layers "
                "off, RMS | sheet off | seconds |\n");
    for (int i = 0; i < boards; ++i) {
        const Drawn d = drawn(seed + static_cast<std::uint64_t>(i), foil_um);
        const auto start = std::chrono::steady_clock::now();
        Watch watch;
        FlatStack flat;
        try {
            flat = flatten(d.volume(), {}, watch);
        } catch (const std::exception& error) {
            std::printf("| %d | %zu | %s\n", i, d.board.layers.size(), error.what());
            continue;
        }
        const double seconds =
            std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
        const std::vector<double> depths = layer_depths_mm(d.board, d.scan);
        double squares = 0, foil = 0;
        if (flat.layers.size() == depths.size())
            for (std::size_t k = 0; k < depths.size(); ++k) {
                squares += std::pow(flat.layers[k].depth_px.value() - depths[k] / 0.025, 2);
                foil += flat.layers[k].thickness_px.value() / static_cast<double>(depths.size());
            }
        const Point middle{320, 200};
        const double face = low_face_z_mm(d.board, d.scan, {8, 5}) / 0.025;
        std::printf("| %d | %zu | %zu | %+.3f | %.3f | %.3f | %.3f | %+.3f | %.3f | %+.3f | %.2f |\n", i,
                    d.board.layers.size(), flat.layers.size(),
                    flat.thickness_px.value() - d.board.thickness_mm / 0.025, flat.thickness_px.u(),
                    flat.blur_z_px.value(), foil, foil - foil_um / 25,
                    std::sqrt(squares / static_cast<double>(std::max<std::size_t>(1, depths.size()))),
                    flat.low_face.at(middle) - face, seconds);
    }
}
