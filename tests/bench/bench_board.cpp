// SPDX-License-Identifier: Apache-2.0
// Writes one large drawn radiograph for the benchmarks: bench_board FILE.tif [SIDE_PX [HARDWARE_HOLES [VIAS
// [SEED]]]]
#include "ringwall/files.hpp"
#include "ringwall/phantom.hpp"

#include <cstdio>
#include <cstdlib>

namespace {

long word(int argc, char** argv, int place, long otherwise) {
    return argc > place ? std::strtol(argv[place], nullptr, 10) : otherwise;
}

void write_board(int argc, char** argv) {
    using namespace ringwall;
    phantom::Exposure exposure;
    exposure.beam = tube_beam(100, 1.0);
    exposure.heel = 0.1;
    exposure.samples = 2; // speed is measured on this picture, not accuracy
    const double side_mm = static_cast<double>(word(argc, argv, 2, 4096)) * exposure.pixel_mm;
    phantom::RandomBoard choice;
    choice.width_mm = choice.height_mm = side_mm;
    choice.hardware_holes = static_cast<int>(word(argc, argv, 3, 24));
    choice.vias = static_cast<int>(word(argc, argv, 4, 216));
    choice.seed = static_cast<std::uint64_t>(word(argc, argv, 5, 1));
    const phantom::Board board = phantom::random_board(choice);
    const Image<std::uint16_t> picture = phantom::expose(board, exposure);
    write_tiff16(argv[1], picture.view(), exposure.pixel_mm);
    std::printf("%s: %d x %d px, %zu holes\n", argv[1], picture.width(), picture.height(),
                board.drills.size());
}

} // namespace

int main(int argc, char** argv) {
    if (argc < 2) {
        std::fprintf(stderr, "usage: bench_board FILE.tif [SIDE_PX [HARDWARE_HOLES [VIAS [SEED]]]]\n");
        return 2;
    }
    try {
        write_board(argc, argv);
    } catch (const std::exception& error) {
        std::fprintf(stderr, "bench_board: %s\n", error.what());
        return 3;
    }
}
