// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "core/swapped_folder.hpp"
#include "report/report.hpp"
#include "report/sample_record.hpp"

#include <cstdlib>
#include <filesystem>
#include <string>

namespace ringwall::test {

/// One for all cases: it paints a picture.
inline const Sample& sample() {
    static const Sample one;
    return one;
}

inline std::string page_of(const BoardRecord& record) {
    return report_html(record, {});
}

/// For a person to look at: RINGWALL_KEEP_PICTURES names a folder.
inline void keep(const char* name, const std::string& page) {
    if (const char* folder = std::getenv("RINGWALL_KEEP_PICTURES"))
        write_whole_file(std::filesystem::path(folder) / name, page);
}

inline BoardRecord without_scale() {
    BoardRecord record = sample().record;
    const Estimate none = Estimate::missing("no scale");
    for (auto& source : record.sources)
        source.pixel_mm = none, source.pixel_xy_mm.reset();
    for (auto& hole : record.holes) {
        for (Estimate* mm : {&hole.bore_mm, &hole.drill_mm, &hole.inscribed_mm, &hole.roundness_mm,
                             &hole.furthest_void_mm, &hole.keepout.min_mm})
            *mm = none;
        for (auto& gap : hole.keepout.profile)
            gap.gap_mm.reset(), gap.u_mm.reset();
        hole.x_mm.reset(), hole.y_mm.reset(), hole.budget.clear();
        if (!hole.screw) continue;
        ScrewFit fit;
        fit.name = hole.screw->name, fit.required_mm = hole.screw->required_mm;
        fit.contact_margin_mm = fit.margin_mm = fit.cutting_margin_mm = none;
        fit.why = "no scale: nobody gave one", fit.would_decide = "Two points of known distance.";
        hole.screw = fit;
    }
    record.why_nothing = "no scale: give --pixel-mm or --known";
    return record;
}

/// The same holes as a slice stack shows them, with a ring on each of three layers; no scale if
/// asked.
inline BoardRecord of_stack(bool scale = true) {
    BoardRecord record = scale ? sample().record : without_scale();
    record.sources[0].shot = Shot::stack, record.sources[0].slices = 80;
    record.measured.clear(), record.not_proven.clear();
    record.thickness_mm = scale ? Estimate::of(1.02, 0.01) : Estimate::missing("no scale");
    record.layers.emplace();
    for (int k = 0; k < 3; ++k) {
        LayerRecord layer;
        layer.number = k + 1, layer.picture = "layer-" + std::to_string(k + 1) + ".png";
        layer.thickness_um = Estimate::missing("no scale");
        layer.z_slices = Estimate::of(0.7 + 13.1 * k, 0.05), layer.thickness_slices = Estimate::of(1.4, 0.04);
        if (scale) layer.z_mm = 0.0175 + 0.3275 * k, layer.thickness_um = Estimate::of(35, 1);
        record.layers->push_back(layer);
    }
    (*record.layers)[1].stated_role = "ground", (*record.layers)[1].evidence = "drawing 7 <of> the maker";
    (*record.layers)[1].treated_as_live = false;
    (*record.layers)[2].stated_role = "signal";
    for (HoleRecord& hole : record.holes) {
        hole.stack = StackHoleRecord{"wall-" + hole.id + ".png", Estimate::of(0.004, 0.002), {}, {}};
        for (int k = 0; k < 3; ++k) {
            PlaneRecord plane;
            plane.plane = k + 1, plane.layer = k + 1, plane.z_mm = (*record.layers)[0].z_mm;
            plane.state = KeepOutState::ring_seen;
            plane.min_px = Estimate::of(20 + k, 0.2);
            plane.min_mm = scale ? Estimate::of(0.5 + 0.025 * k, 0.005) : Estimate::missing("no scale");
            hole.keepout.planes.push_back(plane);
        }
    }
    PlaneRecord& unread = record.holes[3].keepout.planes[1];
    unread.state = KeepOutState::undecided;
    unread.min_mm = unread.min_px = Estimate::missing("noise hides it");
    HoleRecord& plated = record.holes[4]; // a land on layer 1, a plane on layer 3
    plated.stack->joined_layers = {1, 3};
    plated.keepout.planes[2].state = KeepOutState::runs_on;
    plated.wall.state = WallState::incomplete, plated.wall.covered_fraction = 0.86;
    plated.wall.missing_arcs_deg = {{0, 360}};
    plated.stack->breaks = {{17, 23, {}, {}}};
    if (scale) plated.stack->breaks[0].from_mm = 0.425, plated.stack->breaks[0].to_mm = 0.575;
    return record;
}

/// A picture along the board, alone.
inline BoardRecord of_edge() {
    BoardRecord record;
    record.program = sample().record.program;
    record.sources = sample().record.sources;
    record.sources[0].shot = Shot::edge;
    record.screw = sample().record.screw, record.rule = sample().record.rule;
    record.thickness_mm = Estimate::of(1.58, 0.006);
    record.copper_layers = {4, 4, "", {}};
    record.edge.emplace();
    record.edge->thickness_px = Estimate::of(63.2, 0.1);
    record.edge->layers = {
        {1, Estimate::of(0.02, 0.002), Estimate::of(0.8, 0.1), Estimate::of(1.4, 0.2), 0.5, false, true}};
    record.barrels = {{0, 120, 80, Estimate::of(3.3, 0.02), Estimate::of(132, 0.3)}};
    record.barrels_why.clear();
    record.options = {{"shot", "\"edge\""}, {"screw_major_mm", "null"}, {"spacing_row", "null"}};
    record.not_proven = {"Which net a layer carries does not show."};
    return record;
}

} // namespace ringwall::test
