// SPDX-License-Identifier: Apache-2.0
// How often a finding is wrong when the true margin stands just on the limit, and how often one is made when
// it stands well off it: boards drawn with exact geometry, measured from picture to finding.
//
//   bench_findings [BOARDS] [FIRST_SEED]      four holes a board; a markdown table on standard output
#include "ringwall/files.hpp"
#include "ringwall/inspection.hpp"
#include "ringwall/phantom.hpp"

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>
#include <vector>

using namespace ringwall;

namespace {

constexpr double required_mm = 0.10, screw_major_mm = 3.5052, scale_u = 0.002;

/// What stands at a given distance from its limit.
enum class Limit { margin, contact };

struct Truth {
    Point centre_mm;
    double margin_mm = 0, contact_mm = 0;
};

struct Trial {
    phantom::Board board;
    phantom::Exposure exposure;
    std::vector<Truth> truth;
    double pixel_given_mm = 0;
};

double uniform(std::mt19937_64& engine, double low, double high) { // the standard's own differ by platform
    return low + (high - low) * static_cast<double>(engine() >> 11) * 0x1.0p-53;
}

double normal(std::mt19937_64& engine) {
    const double u = uniform(engine, 1e-12, 1), v = uniform(engine, 0, 2 * std::numbers::pi);
    return std::sqrt(-2 * std::log(u)) * std::cos(v);
}

/// Four bare holes, each off-centre in its ring, so that the smallest gap leaves `from_limit_mm` beyond the
/// limit.
Trial drawn(std::uint64_t seed, Limit limit, double from_limit_mm) {
    std::mt19937_64 engine(seed);
    Trial trial;
    trial.board.name = "trial";
    trial.board.width_mm = 15, trial.board.height_mm = 15;
    trial.board.outline.corners_mm = {{0.8, 0.8}, {14.2, 0.8}, {14.2, 14.2}, {0.8, 14.2}};
    phantom::CopperLayer plane{uniform(engine, 0, 1) < 0.5 ? 35.0 : 70.0, true, {}};
    for (const Point corner : {Point{4.2, 4.2}, {10.8, 4.2}, {4.2, 10.8}, {10.8, 10.8}}) {
        const Point centre{corner.x + uniform(engine, -0.2, 0.2), corner.y + uniform(engine, -0.2, 0.2)};
        // Narrower than the screw, where the limit is contact; else wider and narrower ones.
        const double drill = limit == Limit::contact || engine() % 2 == 0 ? uniform(engine, 2.9, 3.3)
                                                                          : uniform(engine, 3.55, 3.9);
        const double metal = std::max(drill, screw_major_mm) / 2;
        const double copper = metal + from_limit_mm + (limit == Limit::margin ? required_mm : 0);
        const double off = uniform(engine, 0, 0.25), turn = uniform(engine, 0, 2 * std::numbers::pi);
        plane.strokes.push_back(
            {phantom::Circle{{centre.x + off * std::cos(turn), centre.y + off * std::sin(turn)},
                             copper + off},
             false});
        phantom::Drill hole;
        hole.centre_mm = centre;
        hole.drill_mm = drill;
        trial.board.drills.push_back(hole);
        trial.truth.push_back({centre, copper - metal - required_mm, copper - metal});
    }
    trial.board.layers = {plane};
    const std::array beams{tube_beam(60, 1.5), tube_beam(90, 2.5), tube_beam(140, 4), single_energy_beam(60)};
    phantom::Exposure& e = trial.exposure;
    e.beam = beams[engine() % beams.size()];
    e.pixel_mm = uniform(engine, 0.020, 0.025);
    e.blur_sigma_px = uniform(engine, 0.8, 1.6);
    e.photons = 2000 * std::pow(6.0, uniform(engine, 0, 1));
    e.heel = uniform(engine, 0, 0.2);
    e.heel_angle_deg = uniform(engine, 0, 360);
    e.dense_bright = engine() % 4 == 0;
    e.seed = seed;
    trial.pixel_given_mm = e.pixel_mm * (1 + scale_u * normal(engine));
    return trial;
}

BoardRecord measured(const Trial& trial, const std::filesystem::path& file) {
    write_tiff16(file, phantom::expose(trial.board, trial.exposure).view(), trial.exposure.pixel_mm);
    InspectRequest request;
    request.pictures = {file};
    request.pixel_mm = {trial.pixel_given_mm, trial.pixel_given_mm};
    request.scale_u_percent = 100 * scale_u;
    request.radiometry = Radiometry::linear;
    request.board_mm = trial.board.thickness_mm;
    request.foil_um = trial.board.layers.front().thickness_um;
    request.thinnest_foil_um = request.foil_um;
    request.screw = Screw{};
    request.screw->name = "UNC6-32";
    request.screw->major_mm = screw_major_mm;
    request.screw->minor_mm = 2.411;
    request.screw->engagement = Engagement::free; // by resting reach alone: one limit at a time
    request.rule.required_mm = required_mm;
    InspectWatch watch;
    auto outcome = inspect(request, watch);
    if (const auto* record = std::get_if<BoardRecord>(&outcome)) return *record;
    std::fprintf(stderr, "bench_findings: %s\n", std::get<Error>(outcome).what());
    std::exit(1);
}

struct Counts {
    int holes = 0, missed = 0, gap_shown = 0, too_close = 0, reaches = 0, undecided = 0;
    int with_margin = 0, within_95 = 0, off_30um = 0;
    int over_5u = 0, over_5u_decided = 0; ///< holes whose true distance from the limit is 5 u and more
    double squares = 0, u = 0;
};

const HoleRecord* found_at(const BoardRecord& record, Point centre_mm, double pixel_mm) {
    for (const HoleRecord& hole : record.holes)
        if (std::hypot(hole.x_px * pixel_mm - centre_mm.x, hole.y_px * pixel_mm - centre_mm.y) < 0.5)
            return &hole;
    return nullptr;
}

void count(const HoleRecord* hole, const Truth& truth, Limit limit, Counts& counts) {
    ++counts.holes;
    if (hole == nullptr || !hole->screw) {
        ++counts.missed;
        return;
    }
    const ScrewFit& screw = *hole->screw;
    counts.gap_shown += screw.finding == Finding::gap_shown;
    counts.too_close += screw.finding == Finding::too_close;
    counts.reaches += screw.finding == Finding::reaches;
    counts.undecided += screw.finding == Finding::undecided;
    const Estimate& margin = limit == Limit::margin ? screw.margin_mm : screw.contact_margin_mm;
    const double off_limit_mm = std::abs(limit == Limit::margin ? truth.margin_mm : truth.contact_mm);
    if (margin && off_limit_mm > 0 && off_limit_mm >= 5 * margin.u()) {
        ++counts.over_5u;
        counts.over_5u_decided += screw.finding != Finding::undecided;
    }
    if (!screw.margin_mm) return;
    const double error = screw.margin_mm.value() - truth.margin_mm;
    ++counts.with_margin;
    counts.within_95 += std::abs(error) <= 1.96 * screw.margin_mm.u();
    counts.off_30um += std::abs(error) > 0.030;
    counts.squares += error * error;
    counts.u += screw.margin_mm.u();
}

void run(const char* name, Limit limit, double from_limit_mm, int boards, std::uint64_t seed) {
    const auto file =
        std::filesystem::temp_directory_path() / ("ringwall-findings-" + std::to_string(seed) + ".tiff");
    Counts counts;
    for (int i = 0; i < boards; ++i) {
        const Trial trial = drawn(seed + static_cast<std::uint64_t>(i), limit, from_limit_mm);
        const BoardRecord record = measured(trial, file);
        for (const Truth& truth : trial.truth)
            count(found_at(record, truth.centre_mm, trial.exposure.pixel_mm), truth, limit, counts);
    }
    std::filesystem::remove(file);
    const double n = std::max(1, counts.with_margin);
    std::printf("| %s | %d | %d | %d | %d | %d | %d | %.1f | %.1f | %.1f %% | %d | %d of %d |\n", name,
                counts.holes, counts.missed, counts.gap_shown, counts.too_close, counts.reaches,
                counts.undecided, 1000 * std::sqrt(counts.squares / n), 1000 * counts.u / n,
                100 * counts.within_95 / n, counts.off_30um, counts.over_5u_decided, counts.over_5u);
    std::fflush(stdout);
}

} // namespace

int main(int argc, char** argv) {
    const int boards = argc > 1 ? std::atoi(argv[1]) : 250;
    const auto seed = static_cast<std::uint64_t>(argc > 2 ? std::atoll(argv[2]) : 1);
    std::printf(
        "| true state | holes | not judged | gap shown | too close | reaches | undecided | RMS of the "
        "margin, um | "
        "mean u, um | within 1.96 u | off by over 30 um | decided of those at 5 u and more |\n"
        "|---|---|---|---|---|---|---|---|---|---|---|---|\n");
    run("margin 0", Limit::margin, 0, boards, seed);
    run("contact margin 0", Limit::contact, 0, boards, seed + 100000);
    const int few = std::max(1, boards / 4);
    run("margin +12 um", Limit::margin, 0.012, few, seed + 500000); // 5 u of the mean hole
    run("margin -12 um", Limit::margin, -0.012, few, seed + 600000);
    run("contact margin -19 um", Limit::contact, -0.019, few, seed + 700000);
    run("margin +30 um", Limit::margin, 0.030, few, seed + 200000);
    run("margin -30 um", Limit::margin, -0.030, few, seed + 300000);
    run("contact margin -30 um", Limit::contact, -0.030, few, seed + 400000);
}
