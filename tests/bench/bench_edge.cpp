// SPDX-License-Identifier: Apache-2.0
// Edge-on pictures over fresh seeds: how often the count of copper layers is right, and how far the thickness
// and the barrels are off, by condition.
//
//   bench_edge [BOARDS_A_CONDITION] [FIRST_SEED] [-v [CONDITION]]     a markdown table on standard output
//
// With RINGWALL_KEEP_PICTURES=FOLDER every picture is kept there.
#include "ringwall/files.hpp"
#include "ringwall/stackup.hpp"
#include "stackup/edge_boards.hpp"

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <functional>
#include <optional>

using namespace ringwall;
using namespace ringwall::test;
using phantom::Random;

namespace {

struct Condition {
    std::string name;
    std::function<void(EdgeCase&, Random&)> change;
    bool foil_stated = true;
    bool geometry_stated = false;
    double foil_u = 0; ///< share by which the foil stated is off (normal)
    std::function<void(Radiograph&)> stored_otherwise = {}; ///< what the file does to the picture
};

/// 2 to 8 layers (even), foil, thickness, spacing, beam, blur, photons and rotation as they come.
EdgeCase drawn(Random& random) {
    const double foils[] = {18, 35, 70};
    const int layers = 2 * random.whole(1, 4);
    const double thickness = layers >= 6 ? random.between(1.2, 2.0) : random.between(0.8, 2.0);
    EdgeCase c = plain_edge(layers, random.between(10, 40), foils[random.whole(0, 2)], thickness);
    // Dielectrics of 0.1 mm and more, the rest shared out at random.
    double copper = 0.001 * c.foil_um * layers, spare = thickness - copper - 0.1 * (layers - 1);
    std::vector<double> share;
    double sum = 0;
    for (int n = 0; n + 1 < layers; ++n)
        share.push_back(random.between(0.05, 1)), sum += share.back();
    c.shot.layer_tops_mm = {0};
    for (int n = 0; n + 1 < layers; ++n)
        c.shot.layer_tops_mm.push_back(c.shot.layer_tops_mm.back() + 0.001 * c.foil_um + 0.1 +
                                       spare * share[static_cast<std::size_t>(n)] / sum);
    const phantom::Board before = c.board;
    for (int n = 1; n + 1 < layers; ++n) // some inner layers carry traces, not a plane
        if (random.chance(0.3)) {
            c.board.layers[static_cast<std::size_t>(n)].strokes.clear();
            for (double x = 3; x < c.board.width_mm - 3; x += random.between(0.5, 2))
                c.board.layers[static_cast<std::size_t>(n)].strokes.push_back(
                    {phantom::Track{
                         {x, 3}, {x, random.between(5, c.board.height_mm - 3)}, random.between(0.2, 0.5)},
                     true});
        }
    c.exposure.blur_sigma_px = random.between(0.8, 1.6);
    c.exposure.photons = std::exp(random.between(std::log(1200.0), std::log(12000.0)));
    const int beam = random.whole(0, 2);
    c.exposure.beam = beam == 0 ? tube_beam(90, 1.0) : beam == 1 ? tube_beam(130, 2.0) : tube_beam(160, 4.0);
    c.exposure.dense_bright = random.chance(0.3);
    c.exposure.heel = random.between(0, 0.1);
    c.exposure.heel_angle_deg = random.between(0, 360);
    c.exposure.seed = random.next();
    c.shot.rotation_deg = random.between(-2, 2);
    c.shot.shift_mm = {random.between(-0.3, 0.3), random.between(-0.2, 0.2)};
    return c;
}

/// Both faces carry traces and pads along the beam in some of the columns, as outer layers mostly do.
void lay_outer_traces(EdgeCase& c, Random& random) {
    for (const std::size_t layer : {std::size_t{0}, c.board.layers.size() - 1}) {
        auto& strokes = c.board.layers[layer].strokes;
        strokes.clear();
        const double width = random.between(0.2, 0.6), pitch = width / random.between(0.3, 0.8);
        for (double x = 2.5 + width / 2; x < c.board.width_mm - 2.5; x += pitch)
            strokes.push_back({phantom::Track{{x, 3}, {x, c.board.height_mm - 3}, width}, true});
    }
}

void store_in_8_bits(Radiograph& picture) {
    picture.facts.bits = 8, picture.facts.full_scale = 255;
    for (std::size_t i = 0; i < picture.values.size(); ++i)
        picture.values.data()[i] = std::round(picture.values.data()[i] / 257);
}

double tilt_for(const EdgeCase& c, double px) {
    return std::atan(px * c.exposure.pixel_mm / c.depth_mm) * 180 / 3.14159265358979;
}

std::vector<Condition> conditions() {
    const auto cone = [](double px) {
        return [px](EdgeCase& c, Random&) {
            c.shot.source_to_board_mm = c.depth_mm * c.board.thickness_mm / (2 * px * c.exposure.pixel_mm);
        };
    };
    const auto tilted = [](double low, double high) {
        return [=](EdgeCase& c, Random& r) { c.shot.tilt_deg = tilt_for(c, r.between(low, high)); };
    };
    return {
        {"parallel beam, foil stated", [](EdgeCase&, Random&) {}},
        {"foil not stated", [](EdgeCase&, Random&) {}, false},
        {"tilt: 0.2 to 0.9 px of smear", tilted(0.2, 0.9)},
        {"the same, foil not stated", tilted(0.2, 0.9), false},
        {"tilt: 1.2 to 4 px of smear", tilted(1.2, 4)},
        {"cone beam: 0.5 px, distances stated", cone(0.5), true, true},
        {"cone beam: 0.9 px, distances stated", cone(0.9), true, true},
        {"cone beam: 0.9 px, nothing stated", cone(0.9), false},
        {"cone beam: 2 px, distances stated", cone(2), true, true},
        {"upright",
         [](EdgeCase& c, Random&) {
             c.shot.rotation_deg += 90;
             std::swap(c.shot.width_mm, c.shot.height_mm);
         }},
        {"upside down", [](EdgeCase& c, Random&) { c.shot.rotation_deg += 180; }},
        {"board crosses the whole picture", [](EdgeCase& c, Random&) { c.shot.width_mm = 15; }},
        {"parts on one face",
         [](EdgeCase& c, Random& r) {
             for (int i = 0; i < 4; ++i) {
                 const double x = r.between(3, 24), w = r.between(0.5, 2.5);
                 c.board.parts.push_back({phantom::Polygon{{{x, 4}, {x + w, 4}, {x + w, 9}, {x, 9}}},
                                          i % 2 == 0 ? tin() : glass_epoxy(), r.between(0.2, 1.0)});
             }
         }},
        {"solder mask 20 um", [](EdgeCase& c, Random&) { c.shot.mask_um = 20; }},
        {"3 layers (odd)",
         [](EdgeCase& c, Random&) {
             const EdgeCase before = c;
             c = plain_edge(3, before.depth_mm, before.foil_um, before.board.thickness_mm);
             c.exposure = before.exposure;
             c.shot.rotation_deg = before.shot.rotation_deg;
         }},
        {"6 vias",
         [](EdgeCase& c, Random& r) {
             for (int i = 0; i < 6; ++i)
                 add_via(c, 4.5 + 3.6 * i + r.between(-1, 1), r.between(4, c.board.height_mm - 4),
                         i % 3 == 0 ? 1.0 : 0.35);
         }},
        {"traces on both faces", lay_outer_traces},
        {"foil 10 % off the one stated", [](EdgeCase&, Random&) {}, true, false, 0.1},
        {"8 bits", [](EdgeCase&, Random&) {}, true, false, 0, store_in_8_bits},
        {"open beam saturated by 2 to 10 %",
         [](EdgeCase& c, Random& r) {
             c.exposure.gain = 65535 * r.between(1.02, 1.1);
             c.exposure.dense_bright = false;
         }},
    };
}

struct Tally {
    int boards = 0, right = 0, at_least = 0, wrong = 0, none = 0, missing = 0;
    std::vector<double> off, pulls;
    int barrels = 0, barrels_found = 0, barrels_false = 0;
    std::vector<double> barrel_off, barrel_pulls;
};

double rms(const std::vector<double>& v) {
    double sum = 0;
    for (const double x : v)
        sum += x * x;
    return v.empty() ? 0 : std::sqrt(sum / static_cast<double>(v.size()));
}

double mean(const std::vector<double>& v) {
    double sum = 0;
    for (const double x : v)
        sum += x;
    return v.empty() ? 0 : sum / static_cast<double>(v.size());
}

double largest(const std::vector<double>& v) {
    double most = 0;
    for (const double x : v)
        most = std::max(most, std::abs(x));
    return most;
}

double held(const std::vector<double>& pulls) {
    const auto in = std::count_if(pulls.begin(), pulls.end(), [](double p) { return std::abs(p) < 1.96; });
    return pulls.empty() ? 0 : 100.0 * static_cast<double>(in) / static_cast<double>(pulls.size());
}

void tally_barrels(const EdgeCase& c, const EdgeView& view, Tally& tally) {
    std::vector<char> used(view.barrels.size());
    for (const auto& drill : c.board.drills) {
        ++tally.barrels;
        const Point at =
            edge_point_px(c.board, c.shot, c.exposure, drill.centre_mm.x, c.board.thickness_mm / 2);
        for (std::size_t i = 0; i < used.size(); ++i) {
            if (used[i] || std::hypot(view.barrels[i].at_px.x - at.x, view.barrels[i].at_px.y - at.y) > 3)
                continue;
            used[i] = 1, ++tally.barrels_found;
            const double off = view.barrels[i].width_px.value() - drill.drill_mm / c.exposure.pixel_mm;
            tally.barrel_off.push_back(off), tally.barrel_pulls.push_back(off / view.barrels[i].width_px.u());
            break;
        }
    }
    tally.barrels_false += static_cast<int>(std::count(used.begin(), used.end(), 0));
}

EdgeOptions options_for(const EdgeCase& c, const Condition& condition, std::uint64_t seed) {
    EdgeOptions options;
    const double pixel_um = 1000 * c.exposure.pixel_mm;
    const double off = condition.foil_u * std::clamp(Random(seed, 78).normal(), -2.5, 2.5);
    if (condition.foil_stated) options.foil_px = c.foil_um / (1 + off) / pixel_um;
    options.usual_foils_px = {18 / pixel_um, 35 / pixel_um, 70 / pixel_um};
    options.thinnest_foil_px = 11 / pixel_um;
    if (condition.geometry_stated) {
        options.depth_over_distance = c.depth_mm / c.shot.source_to_board_mm;
        options.centre_px =
            edge_point_px(c.board, c.shot, c.exposure, c.board.width_mm / 2, c.board.thickness_mm / 2);
    }
    return options;
}

void measure(const EdgeCase& c, const Condition& condition, Tally& tally, std::uint64_t seed, bool verbose) {
    Watch watch;
    if (const char* folder = std::getenv("RINGWALL_KEEP_PICTURES"))
        write_tiff16(std::filesystem::path(folder) / (condition.name + " " + std::to_string(seed) + ".tif"),
                     expose_drawn(draw_edge_on(c.board, c.shot, c.exposure).view(), c.exposure).view(),
                     c.exposure.pixel_mm);
    Radiograph picture = stored(c);
    if (condition.stored_otherwise) condition.stored_otherwise(picture);
    const TransmissionMap map = to_transmission(std::move(picture), {}, watch);
    const EdgeView view = measure_edge_on(map, options_for(c, condition, seed), watch);
    ++tally.boards;
    const int truth = c.layers();
    if (!view.found)
        ++tally.none;
    else if (view.copper_layers)
        ++(*view.copper_layers == truth ? tally.right : tally.wrong);
    else if (view.at_least)
        ++(*view.at_least <= truth ? tally.at_least : tally.wrong);
    else
        ++tally.missing;
    double off = 99;
    if (view.thickness_px) {
        off = view.thickness_px.value() - c.thickness_px();
        tally.off.push_back(off), tally.pulls.push_back(off / view.thickness_px.u());
    }
    tally_barrels(c, view, tally);
    if (!verbose) return;
    std::printf("%llu %s: layers %d found %d/%d (%s) off %.3f u %.3f (fit %.3f smear %.3f) s %.2f blur "
                "%.2f/%.2f foil %.0f depth %.0f angle %.3f/%.3f %s",
                static_cast<unsigned long long>(seed), condition.name.c_str(), truth,
                view.copper_layers.value_or(-1), view.at_least.value_or(-1), view.layers_why.c_str(), off,
                view.thickness_px ? view.thickness_px.u() : -1, view.u_fit_px, view.u_smear_px,
                view.smear_px.value_or(-1), view.blur_px.value_or(-1),
                std::sqrt(std::pow(c.exposure.blur_sigma_px, 2) + 1 / 12.0), c.foil_um, c.depth_mm,
                view.angle_deg, c.shot.rotation_deg, view.why.c_str());
    for (const EdgeLayer& layer : view.layers)
        std::printf(" [%.2f w%.2f d%.2f]", layer.z_px.value_or(-1), layer.width_px.value_or(-1),
                    layer.darkness);
    for (const EdgeBarrel& barrel : view.barrels)
        std::printf(" (%.1f: %.2f u %.2f)", barrel.at_px.x, barrel.width_px.value(), barrel.width_px.u());
    std::printf("\n");
}

void print(const Condition& condition, const Tally& t) {
    std::printf("| %s | %d | %d | %d | %d | %d | %+.3f | %.3f | %.3f | %.0f %% |", condition.name.c_str(),
                t.boards, t.right, t.at_least, t.wrong, t.none + t.missing, mean(t.off), rms(t.off),
                largest(t.off), held(t.pulls));
    if (t.barrels > 0 || t.barrels_false > 0)
        std::printf(" %d found, %d missed, %d invented; RMS %.2f px, largest %.2f px, %.0f %% held",
                    t.barrels_found, t.barrels - t.barrels_found, t.barrels_false, rms(t.barrel_off),
                    largest(t.barrel_off), held(t.barrel_pulls));
    std::printf(" |\n");
    std::fflush(stdout);
}

} // namespace

int main(int argc, char** argv) {
    const int boards = argc > 1 ? std::atoi(argv[1]) : 40;
    const std::uint64_t first = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
    const bool verbose = argc > 3 && std::strcmp(argv[3], "-v") == 0;
    const int only = argc > 4 ? std::atoi(argv[4]) : -1;
    std::printf(
        "| condition | boards | count right | at least | count wrong | none | thickness bias px | RMS px | "
        "largest px | 95 %% holds | barrels |\n|---|---|---|---|---|---|---|---|---|---|---|\n");
    int number = 0;
    for (const Condition& condition : conditions()) {
        if (only >= 0 && number++ != only) continue;
        Tally tally;
        for (int i = 0; i < boards; ++i) {
            const std::uint64_t seed = first + static_cast<std::uint64_t>(i);
            Random random(seed, 77);
            EdgeCase c = drawn(random);
            condition.change(c, random);
            measure(c, condition, tally, seed, verbose);
        }
        print(condition, tally);
    }
    return 0;
}
