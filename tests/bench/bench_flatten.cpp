// SPDX-License-Identifier: Apache-2.0
// Slice stacks drawn at random, laid flat, against their truth: bench_flatten BOARDS SEED FOIL_UM
//
// 640 x 400 x 120 voxels of 25 um, blur 1 voxel, laminate SNR 18, tilt up to 1 degree, bow up to 0.12 mm,
// ring artefacts, cupping 5 %.
#include "bench/drawn_stack.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>

using namespace ringwall;
using namespace ringwall::phantom;
using namespace ringwall::test;

namespace {

/// What is off, over all boards.
struct Tally {
    int boards = 0, counted_right = 0, at_least = 0, wrong = 0, refused = 0;
    double squares = 0, worst = 0;
    void add_thickness(double off) {
        ++boards;
        squares += off * off;
        worst = std::max(worst, std::abs(off));
    }
};

void print_layers(const FlatStack& flat, double foil_px, const std::vector<double>& depths_px) {
    std::printf("    foil off, depth off, coverage:");
    for (std::size_t k = 0; k < flat.layers.size(); ++k) {
        const FlatLayer& layer = flat.layers[k];
        const double depth = k < depths_px.size() ? depths_px[k] : 0;
        if (layer.thickness_px)
            std::printf("  %+.2f", layer.thickness_px.value() - foil_px);
        else
            std::printf("  thin");
        std::printf(" %+.2f %.2f", layer.depth_px.value() - depth, layer.coverage);
    }
    std::printf("\n");
}

void print_board(std::uint64_t seed, const DrawnStack& d, const FlatStack& flat, double foil_um,
                 double seconds, Tally& tally) {
    std::vector<double> depths_px;
    for (const double mm : layer_depths_mm(d.board, d.scan))
        depths_px.push_back(mm / d.scan.pitch_mm);
    const double face = low_face_z_mm(d.board, d.scan, {8, 5}) / d.scan.pitch_mm;
    const double off = flat.thickness_px.value() - d.board.thickness_mm / d.scan.pitch_mm;
    std::printf("| %llu | %zu | %zu | %+.3f | %.3f | %.3f | %.3f | %+.3f | %.2f |\n",
                static_cast<unsigned long long>(seed), d.board.layers.size(), flat.layers.size(), off,
                flat.thickness_px.u(), flat.blur_z_px.value(), flat.residual_px,
                flat.low_face.at({320, 200}) - face, seconds);
    print_layers(flat, foil_um / 1000 / d.scan.pitch_mm, depths_px);
    for (const std::string& warning : flat.warnings)
        std::printf("    %s\n", warning.c_str());
    const bool right = flat.layers.size() == d.board.layers.size(), doubted = !flat.layers_why.empty();
    if (doubted) std::printf("    at least: %s\n", flat.layers_why.c_str());
    tally.counted_right += right && !doubted ? 1 : 0;
    tally.at_least += doubted && flat.layers.size() <= d.board.layers.size() ? 1 : 0;
    tally.wrong += (!right && !doubted) || flat.layers.size() > d.board.layers.size() ? 1 : 0;
    tally.add_thickness(off);
}

} // namespace

int main(int count, char** words) {
    const int boards = count > 1 ? std::atoi(words[1]) : 4;
    const std::uint64_t first = count > 2 ? std::strtoull(words[2], nullptr, 10) : 1;
    const double foil_um = count > 3 ? std::atof(words[3]) : 70;
    const std::string way = count > 4 ? words[4] : "plain";
    std::printf("| seed | layers | found | thickness off, voxel | u | blur | left | sheet off | seconds |\n");
    Tally tally;
    for (int i = 0; i < boards; ++i) {
        const std::uint64_t seed = first + static_cast<std::uint64_t>(i);
        const DrawnStack d = drawn_stack(seed, foil_um, false, {}, way);
        const auto start = std::chrono::steady_clock::now();
        Watch watch;
        try {
            const FlatStack flat = flatten(d.volume(), {}, watch);
            const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
            print_board(seed, d, flat, foil_um, took.count(), tally);
        } catch (const std::exception& error) {
            std::printf("| %llu | %zu | %s\n", static_cast<unsigned long long>(seed), d.board.layers.size(),
                        error.what());
            ++tally.refused;
        }
        std::fflush(stdout);
    }
    const double rms = std::sqrt(tally.squares / std::max(1, tally.boards));
    std::printf("%d boards of %.0f um: %d counted right, %d \"at least\", %d wrong, %d refused; thickness "
                "RMS %.3f, worst "
                "%.3f voxel\n",
                boards, foil_um, tally.counted_right, tally.at_least, tally.wrong, tally.refused, rms,
                tally.worst);
}
