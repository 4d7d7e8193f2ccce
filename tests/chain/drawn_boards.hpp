// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/scratch.hpp"
#include "ringwall/inspection.hpp"
#include "ringwall/phantom.hpp"

#include <cmath>
#include <cstdint>
#include <filesystem>
#include <numeric>
#include <optional>
#include <string>
#include <vector>

namespace ringwall::test {

/// A drawn board, its picture on disk, and the truth.
struct DrawnBoard {
    phantom::Board board;
    phantom::Exposure exposure;
    std::vector<phantom::HoleTruth> truth;
    InspectRequest request;
};

/// Exposures that go round the range of the goals: pixels 20-30 um, blur 0.8-1.5 px, 1200-12000 photons, soft
/// to hard beams, both polarities, heel.
inline phantom::Exposure exposure_of(std::uint64_t seed) {
    const auto part = [&](std::uint64_t step, std::uint64_t of) {
        return static_cast<double>(seed * step % of) / static_cast<double>(of - 1);
    };
    phantom::Exposure e;
    const std::vector<Beam> beams{tube_beam(60, 1.5), tube_beam(90, 2.5), tube_beam(140, 4),
                                  single_energy_beam(60)};
    e.beam = beams[seed % beams.size()];
    e.pixel_mm = 0.020 + 0.010 * part(7, 11);
    e.blur_sigma_px = 0.8 + 0.7 * part(5, 13);
    e.photons = 1200 * std::pow(10.0, part(3, 7));
    e.readout_sigma = seed % 2 == 0 ? 0.002 : 0;
    e.heel = seed % 3 == 0 ? 0.15 : 0;
    e.dense_bright = seed % 5 == 0;
    e.seed = seed;
    return e;
}

inline DrawnBoard draw_board(const phantom::RandomBoard& choice, const phantom::Exposure& exposure,
                             const Scratch& scratch) {
    DrawnBoard drawn;
    drawn.board = phantom::random_board(choice);
    drawn.exposure = exposure;
    drawn.truth = phantom::truth(drawn.board);
    const auto file = scratch / ("board" + std::to_string(choice.seed) + ".tiff");
    write_tiff16(file, phantom::expose(drawn.board, exposure).view(), exposure.pixel_mm);
    drawn.request.pictures = {file};
    drawn.request.pixel_mm = {exposure.pixel_mm, exposure.pixel_mm};
    drawn.request.scale_u_percent = 0.0;
    drawn.request.radiometry = Radiometry::linear;
    drawn.request.jobs = 2;
    return drawn;
}

inline BoardRecord measured(const InspectRequest& request) {
    InspectWatch watch;
    auto outcome = inspect(request, watch);
    REQUIRE(std::holds_alternative<BoardRecord>(outcome));
    return std::get<BoardRecord>(std::move(outcome));
}

/// The hole found at a true place, within a third of its bore.
inline const HoleRecord* found_at(const BoardRecord& record, const phantom::HoleTruth& truth,
                                  double pixel_mm) {
    for (const HoleRecord& hole : record.holes)
        if (std::hypot(hole.x_px * pixel_mm - truth.centre_mm.x, hole.y_px * pixel_mm - truth.centre_mm.y) <
            truth.bore_mm / 3)
            return &hole;
    return nullptr;
}

} // namespace ringwall::test
