// SPDX-License-Identifier: Apache-2.0
// Holes of slice stacks drawn at random, layer by layer, against their truth: bench_layers BOARDS SEED
// FOIL_UM WAY
#include "bench/drawn_stack.hpp"
#include "layers/layered_hole.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <string>

using namespace ringwall;
using namespace ringwall::phantom;
using namespace ringwall::test;

namespace {

struct Tally {
    int holes = 0, missed = 0, extra = 0, walls_wrong = 0, rings = 0, off_far = 0, states_wrong = 0,
        undecided = 0, touching = 0, touching_missed = 0;
    double bore2 = 0, gap2 = 0, worst_gap = 0, wall2 = 0;
    int bores = 0, walls = 0;
};

const layers::LayeredHole* found_at(const std::vector<layers::LayeredHole>& holes, const HoleTruth& truth,
                                    double voxel_mm) {
    for (const auto& hole : holes)
        if (std::hypot(hole.whole.centre_px.x * voxel_mm + voxel_mm / 2 - truth.centre_mm.x,
                       hole.whole.centre_px.y * voxel_mm + voxel_mm / 2 - truth.centre_mm.y) <
            truth.bore_mm / 3)
            return &hole;
    return nullptr;
}

WallState true_wall(const HoleTruth& truth, bool broken) {
    if (truth.plating_um <= 0) return WallState::bare;
    return broken || !truth.missing_arcs_deg.empty() ? WallState::incomplete : WallState::plated;
}

void compare_layer(const Hole& found, const LayerGap& gap, double voxel_mm, const std::string& name,
                   Tally& tally) {
    const bool touches = gap.keepout_mm == 0;
    const KeepOut& keepout = found.keepout;
    tally.touching += touches ? 1 : 0;
    if (keepout.state == KeepOutState::undecided) {
        ++tally.undecided;
        std::printf("  %s: undecided: %s (true %.3f mm)\n", name.c_str(), keepout.why.c_str(),
                    gap.keepout_mm);
        return;
    }
    if (touches != (keepout.state == KeepOutState::touching)) {
        ++tally.states_wrong, tally.touching_missed += touches ? 1 : 0;
        std::printf("  %s: state %d, true gap %.3f mm\n", name.c_str(), static_cast<int>(keepout.state),
                    gap.keepout_mm);
        return;
    }
    // Truth counts all that hangs together with the barrel as own; the ring stage only what it sees joined.
    if (touches || !keepout.min_px || gap.keepout_mm < 0 || keepout.state != KeepOutState::ring_seen) return;
    const double off = keepout.min_px.value() - gap.keepout_mm / voxel_mm;
    ++tally.rings;
    tally.gap2 += off * off;
    tally.worst_gap = std::max(tally.worst_gap, std::abs(off));
    if (std::abs(off) < 0.2) return;
    ++tally.off_far;
    std::printf("  %s: gap off %+.2f px (u %.2f), true %.2f px, at %.0f deg\n", name.c_str(), off,
                keepout.min_px.u(), gap.keepout_mm / voxel_mm, keepout.min_angle_deg);
}

/// For each layer found the true one at its depth, within two slices; beyond the end: none.
std::vector<std::size_t> true_layers(const DrawnStack& d, const FlatStack& flat) {
    const std::vector<double> depths_mm = layer_depths_mm(d.board, d.scan);
    std::vector<std::size_t> is;
    for (const FlatLayer& layer : flat.layers) {
        std::size_t nearest = depths_mm.size();
        double least_px = 2;
        for (std::size_t k = 0; k < depths_mm.size(); ++k) {
            const double off_px = std::abs(depths_mm[k] / d.scan.pitch_mm - layer.depth_px.value());
            if (off_px < least_px) nearest = k, least_px = off_px;
        }
        is.push_back(nearest);
    }
    return is;
}

void compare_hole(const layers::LayeredHole& hole, const HoleTruth& truth, bool broken, double voxel_mm,
                  const std::vector<std::size_t>& is, const std::string& name, Tally& tally) {
    const WallState wall = true_wall(truth, broken);
    if (hole.whole.wall.state != wall) {
        ++tally.walls_wrong;
        std::printf("  %s: wall %d, true %d; copper %.2f px, covered %.3f\n", name.c_str(),
                    static_cast<int>(hole.whole.wall.state), static_cast<int>(wall),
                    hole.whole.wall.thickness_px.value_or(0), hole.whole.wall.covered_fraction);
    }
    if (hole.whole.wall.thickness_px && wall != WallState::bare) {
        tally.wall2 += std::pow(hole.whole.wall.thickness_px.value() - truth.plating_um / 1000 / voxel_mm, 2);
        ++tally.walls;
    }
    if (hole.whole.bore_px) {
        tally.bore2 += std::pow(hole.whole.bore_px.value() - truth.bore_mm / voxel_mm, 2);
        ++tally.bores;
    }
    for (std::size_t k = 0; k < hole.by_layer.size(); ++k)
        if (is[k] < truth.layers.size())
            compare_layer(hole.by_layer[k], truth.layers[is[k]], voxel_mm,
                          name + " layer " + std::to_string(is[k] + 1), tally);
}

void compare(const DrawnStack& d, const FlatStack& flat, const std::vector<layers::LayeredHole>& holes,
             std::uint64_t seed, Tally& tally) {
    const std::vector<std::size_t> is = true_layers(d, flat);
    const std::vector<HoleTruth> all = truth(d.board);
    std::size_t matched = 0;
    for (std::size_t i = 0; i < all.size(); ++i) {
        const auto* found = found_at(holes, all[i], d.scan.voxel_mm);
        const std::string name = std::to_string(seed) + " drill " + std::to_string(i);
        ++tally.holes;
        if (found == nullptr) {
            ++tally.missed;
            std::printf("  %s: not found (bore %.2f mm at %.2f, %.2f)\n", name.c_str(), all[i].bore_mm,
                        all[i].centre_mm.x, all[i].centre_mm.y);
            continue;
        }
        ++matched;
        const bool broken = std::any_of(d.scan.breaks.begin(), d.scan.breaks.end(),
                                        [&](const PlatingBreak& each) { return each.drill == i; });
        compare_hole(*found, all[i], broken, d.scan.voxel_mm, is, name, tally);
    }
    tally.extra += static_cast<int>(holes.size() - matched);
}

} // namespace

int main(int count, char** words) {
    const int boards = count > 1 ? std::atoi(words[1]) : 2;
    const std::uint64_t first = count > 2 ? std::strtoull(words[2], nullptr, 10) : 1;
    const double foil_um = count > 3 ? std::atof(words[3]) : 70;
    const std::string way = count > 4 ? words[4] : "plain";
    Tally tally;
    for (int i = 0; i < boards; ++i) {
        const std::uint64_t seed = first + static_cast<std::uint64_t>(i);
        const DrawnStack d = drawn_stack(seed, foil_um, true, {}, way);
        Watch watch;
        try {
            const FlatStack flat = flatten(d.volume(), {}, watch);
            const auto start = std::chrono::steady_clock::now();
            const std::vector<layers::LayerMap> maps = layers::layer_maps(flat);
            std::vector<layers::LayeredHole> holes =
                layers::fit_layers(flat, maps, d.volume().pitch_px, watch);
            layers::read_walls(d.volume(), flat, holes, watch);
            layers::measure_layer_rings(flat, maps, d.volume().pitch_px, holes, {}, watch);
            const std::chrono::duration<double> took = std::chrono::steady_clock::now() - start;
            std::printf("seed %llu: %zu of %zu layers, blur %.3f, ratio %.2f, noise %.4f x %.2f, %.2f s\n",
                        static_cast<unsigned long long>(seed), flat.layers.size(), d.board.layers.size(),
                        maps.empty() ? 0 : maps[0].map.blur_sigma_px.value(),
                        layers::copper_ratio(flat).value(), maps.empty() ? 0 : maps[0].map.noise.readout,
                        maps.empty() ? 0 : maps[0].map.noise.correlation, took.count());
            compare(d, flat, holes, seed, tally);
        } catch (const std::exception& error) {
            std::printf("seed %llu: %s\n", static_cast<unsigned long long>(seed), error.what());
        }
        std::fflush(stdout);
    }
    const auto rms = [](double squares, int n) { return n > 0 ? std::sqrt(squares / n) : 0.0; };
    std::printf("%d holes: %d missed, %d extra, %d walls wrong; bore RMS %.3f px, wall RMS %.3f px\n",
                tally.holes, tally.missed, tally.extra, tally.walls_wrong, rms(tally.bore2, tally.bores),
                rms(tally.wall2, tally.walls));
    std::printf("layer rings: %d measured, RMS %.3f px, worst %.3f, %d over 0.2; %d undecided, %d states "
                "wrong; touching %d, %d of them not seen\n",
                tally.rings, rms(tally.gap2, tally.rings), tally.worst_gap, tally.off_far, tally.undecided,
                tally.states_wrong, tally.touching, tally.touching_missed);
}
