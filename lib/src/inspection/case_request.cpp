// SPDX-License-Identifier: Apache-2.0
#include "casefile/casefile.hpp"
#include "casefile/continuity_log.hpp"
#include "core/text.hpp"
#include "ringwall/inspection.hpp"
#include "ringwall/screwfit.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall {
namespace {

struct ChosenPictures {
    std::size_t first = 0;            ///< what is measured
    std::vector<std::size_t> edge_on; ///< beside it
};

std::optional<std::size_t> first_of(const CaseFile& read, Shot shot) {
    for (std::size_t i = 0; i < read.pictures.size(); ++i)
        if (read.pictures[i].shot == shot) return i;
    return std::nullopt;
}

/// The picture asked for, else face-on before a stack before edge-on.
std::size_t first_picture(const CaseFile& read, const std::filesystem::path& file,
                          const std::optional<Shot>& asked) {
    if (asked)
        if (const auto found = first_of(read, *asked)) return *found;
    for (const Shot shot : {Shot::face, Shot::stack, Shot::edge})
        if (const auto found = first_of(read, shot)) return *found;
    throw Error(Fault::usage, file.string() + ": no [[picture]] with shot = \"face\", \"stack\" or \"edge\"");
}

std::string why_left_out(Shot shot, Shot chosen) {
    if (shot == chosen)
        return std::string("several ") + (shot == Shot::face ? "face-on pictures" : "slice stacks") +
               " of one board are not in this version";
    return shot == Shot::stack ? "a face-on picture goes before it; --shot stack measures the stack"
                               : "the stack was asked for";
}

/// One picture and those edge-on beside it; the others are left out with a word, until there are stages for
/// them.
ChosenPictures chosen_pictures(const CaseFile& read, const std::filesystem::path& file,
                               const std::optional<Shot>& asked, std::vector<std::string>& notes) {
    ChosenPictures chosen;
    chosen.first = first_picture(read, file, asked);
    for (std::size_t i = 0; i < read.pictures.size(); ++i) {
        const CasePicture& picture = read.pictures[i];
        if (i == chosen.first) continue;
        if (picture.shot == Shot::edge)
            chosen.edge_on.push_back(i);
        else
            notes.push_back("picture " + picture.file.filename().string() + " of the case is left out: " +
                            why_left_out(picture.shot, read.pictures[chosen.first].shot));
    }
    return chosen;
}

/// Distances beside a pixel size: the size goes before, as on the command line, and a difference is told.
void take_geometry(const CasePicture& picture, InspectRequest& request) {
    request.geometry = picture.geometry;
    if (!picture.geometry_pixel_mm) return;
    const double mm = *picture.geometry_pixel_mm;
    if (!picture.pixel_mm) {
        request.geometry_scale =
            StatedScale{{mm, mm}, "distances of source, board and detector in the case file"};
        return;
    }
    constexpr double told_from = 0.02; // as for a picture file that states another pixel
    const double given = ((*picture.pixel_mm)[0] + (*picture.pixel_mm)[1]) / 2;
    if (std::abs(mm / given - 1) > told_from)
        request.notes.push_back("the pixel size given, " + shortest(rounded(given, 4)) +
                                " mm, is used; the distances of source, board and detector make it " +
                                shortest(rounded(mm, 4)) + " mm");
}

void take_picture(const CasePicture& picture, InspectRequest& request) {
    request.shot = picture.shot;
    request.pictures = {picture.file};
    request.picture_sha256 = picture.sha256;
    request.pixel_mm = picture.pixel_mm;
    request.voxel_mm = picture.voxel_mm;
    request.scale_u_percent = picture.scale_u_percent;
    request.dense = picture.dense;
    request.radiometry = picture.radiometry;
    request.flat = picture.flat;
    request.dark = picture.dark;
    request.side_to_source = picture.side_to_source;
    take_geometry(picture, request);
}

void take_board(const CaseBoard& board, InspectRequest& request) {
    request.board_mm = board.thickness_mm;
    request.foil_um = board.foil_um;
    request.thinnest_foil_um = board.thinnest_foil_um;
    request.name = board.name;
    request.revision = board.revision;
    request.unit = board.unit;
    request.intake = board.intake;
}

/// In a case file a wrong name is a wrong value: place and key stand before what was said of it.
Screw named_in_case(const std::string& name, const std::optional<std::filesystem::path>& table,
                    const std::string& place) {
    try {
        return screw_named(name, table);
    } catch (const Error& error) {
        if (error.fault() != Fault::usage) throw;
        throw Error(Fault::input, place + ": " + error.what());
    }
}

template<typename T>
void replace(T& target, const std::optional<double>& size) {
    if (size) target = *size;
}

/// Where a size that does not go with the major diameter is to be mended: at itself, where the case gives it,
/// else at the diameter, else at the screw's name.
std::string place_of(const CaseScrew& said, const std::optional<double>& size, const std::string& place) {
    if (size) return place;
    return said.major_mm ? said.major_place : said.name_place;
}

void check_sizes(const Screw& screw, const CaseScrew& said) {
    const auto refuse = [](const std::string& place, const std::string& expected, double got) {
        throw Error(Fault::input, place + ": expected " + expected + ", got " + shortest(got));
    };
    const std::string major = "the major diameter, " + shortest(screw.major_mm) + " mm";
    if (screw.minor_mm > screw.major_mm)
        refuse(place_of(said, said.minor_mm, said.minor_place), "a minor_mm not over " + major,
               screw.minor_mm);
    if (screw.head_mm && *screw.head_mm < screw.major_mm)
        refuse(place_of(said, said.head_mm, said.head_place), "a head_mm not under " + major, *screw.head_mm);
    if (screw.washer_mm && *screw.washer_mm <= screw.major_mm)
        refuse(place_of(said, said.washer_mm, said.washer_place), "a washer_mm over " + major,
               *screw.washer_mm);
    if (screw.washer_bore_mm && *screw.washer_bore_mm < screw.major_mm)
        refuse(place_of(said, said.washer_bore_mm, said.washer_bore_place),
               "a washer_bore_mm not under " + major, *screw.washer_bore_mm);
}

Screw screw_of(const CaseScrew& said, const std::optional<double>& far_side_mm) {
    Screw screw;
    if (!said.name.empty()) screw = named_in_case(said.name, said.table, said.name_place);
    const bool measured = said.major_mm.has_value();
    replace(screw.major_mm, said.major_mm);
    if (measured)
        screw.major_min_mm = screw.major_max_mm = std::nullopt; // class limits are no longer its own
    replace(screw.minor_mm, said.minor_mm);
    replace(screw.head_mm, said.head_mm);
    replace(screw.washer_mm, said.washer_mm);
    replace(screw.washer_bore_mm, said.washer_bore_mm);
    screw.far_side_mm = far_side_mm;
    screw.tilt_deg = said.tilt_deg;
    screw.engagement = said.engagement;
    const bool sizes = measured || said.minor_mm || said.head_mm || said.washer_mm || said.washer_bore_mm;
    if (sizes) screw.source += screw.source.empty() ? "sizes of the case file" : "; sizes of the case file";
    check_sizes(screw, said);
    return screw;
}

/// Another screw in the same assembly: tilt and far side stay, the rest goes with the screw.
Screw in_assembly(Screw screw, const std::optional<Screw>& before) {
    if (!before) return screw;
    screw.tilt_deg = before->tilt_deg;
    screw.far_side_mm = before->far_side_mm;
    return screw;
}

void take_screws(const CaseFile& read, int picture, InspectRequest& request) {
    if (read.screw) {
        request.screw_table = read.screw->table;
        request.screw = screw_of(*read.screw, read.far_side_mm);
    } else if (read.far_side_mm) {
        request.notes.emplace_back("the far side's outline is not judged: the case names no screw");
    }
    std::optional<Screw> assembly = request.screw;
    if (!assembly && read.far_side_mm) assembly.emplace().far_side_mm = read.far_side_mm;
    for (const CasePlacedHole& placed : read.holes) {
        if (placed.picture != picture) continue;
        CaseHole hole = placed.hole;
        if (!hole.screw_name.empty())
            hole.screw = in_assembly(named_in_case(hole.screw_name, request.screw_table, placed.screw_place),
                                     assembly);
        request.case_holes.push_back(std::move(hole));
    }
}

/// The hole must be named in pixels: in mm its place hangs on the scale that it is to set.
ScaleHole scale_hole(const CaseFile& read, const CaseScale& scale) {
    for (const CasePlacedHole& placed : read.holes) {
        if (placed.picture != scale.picture || placed.hole.name != scale.hole || !placed.hole.at_px) continue;
        return {*placed.hole.at_px, scale.hole, scale.mm, scale.u_mm};
    }
    throw Error(Fault::input, scale.hole_place +
                                  ": expected the name of a [[hole]] of this picture with at_px, got \"" +
                                  scale.hole + "\"");
}

void take_scales(const CaseFile& read, int picture, InspectRequest& request) {
    request.scale_given = InspectRequest::ScaleGiven::in_case;
    for (const CaseScale& scale : read.scales) {
        if (scale.picture != picture) continue;
        if (scale.hole_place.empty())
            request.known.push_back({scale.from_px, scale.to_px, scale.mm, scale.u_mm});
        else
            request.scale_holes.push_back(scale_hole(read, scale));
    }
}

void take_evidence(const CaseFile& read, InspectRequest& request) {
    for (const CasePicture& picture : read.pictures)
        request.picture_notes.push_back(picture.notes);
    request.custody = read.custody;
    request.measured = read.measured;
    request.layers = read.layers;
    if (!read.layers.empty())
        request.notes.emplace_back(
            request.shot == Shot::stack
                ? "copper of layers that the case states as ground, with evidence, is not counted as live; "
                  "all "
                  "other copper that is not the hole's own is, signal layers too"
                : "what the case says of single copper layers is not used: a face-on picture does "
                  "not show on which layer copper lies; all that is not the hole's own is treated "
                  "as live");
    if (!read.units.empty())
        request.notes.emplace_back(
            "further units of the case ([[unit]]) are not in this version: this is about one "
            "unit");
    if (!read.continuity) return;
    ContinuityLog log = read_continuity_log(*read.continuity);
    request.continuity = std::move(log.readings);
    request.notes.insert(request.notes.end(), log.warnings.begin(), log.warnings.end());
}

InspectRequest edge_on_request(const CaseFile& read, std::size_t picture) {
    InspectRequest request;
    take_picture(read.pictures[picture], request);
    take_scales(read, static_cast<int>(picture), request);
    request.scale_holes.clear(); // holes do not show from the side
    take_board(read.board, request);
    return request;
}

InspectRequest request_of(const CaseFile& read, const std::filesystem::path& case_file,
                          const std::optional<Shot>& shot) {
    InspectRequest request;
    request.notes = read.warnings;
    const RulePlaces& places = read.rule_places;
    request.case_words = {places.voltage_peak, places.voltage_kind, places.row, read.unknown_keys};
    const ChosenPictures pictures = chosen_pictures(read, case_file, shot, request.notes);
    const std::size_t chosen = pictures.first;
    take_picture(read.pictures[chosen], request);
    take_scales(read, static_cast<int>(chosen), request);
    take_board(read.board, request);
    for (const std::size_t i : pictures.edge_on)
        request.edge_on.push_back(edge_on_request(read, i));
    request.confidence = read.confidence.value_or(request.confidence);
    request.rule = read.rule;
    take_screws(read, static_cast<int>(chosen), request);
    take_evidence(read, request);
    const std::filesystem::path decisions = decisions_file_of(case_file);
    if (std::filesystem::exists(decisions)) request.decisions = read_decisions(decisions);
    return request;
}

} // namespace

InspectRequest request_of_case(const std::filesystem::path& case_file, std::optional<Shot> shot) {
    const CaseFile read = read_case(case_file);
    try {
        return request_of(read, case_file, shot);
    } catch (const Error& error) {
        throw Error(error.fault(), error.what() + read.unknown_keys);
    }
}

void use_screw(InspectRequest& request, const std::string& name) {
    const Screw screw = screw_named(name, request.screw_table);
    request.screw = in_assembly(screw, request.screw);
    for (CaseHole& hole : request.case_holes) {
        if (!hole.screw) continue;
        hole.screw = in_assembly(screw, hole.screw);
        hole.screw_name = name;
    }
}

namespace {

/// What is wanting beside half a rule: said at its place in the case, else as a matter of the options.
[[noreturn]] void fail_half(const InspectRequest& request, const std::string& place, const std::string& key,
                            const std::string& by_options, const std::string& more = {}) {
    const std::string hint = more + request.case_words.unknown_keys;
    if (place.empty()) throw Error(Fault::usage, by_options + hint);
    throw Error(Fault::input, place + ": expected " + key + " beside it, got nothing" + hint);
}

} // namespace

void check_rule(const InspectRequest& request) {
    const SpacingRule& rule = request.rule;
    const CaseWords& words = request.case_words;
    if (!rule.voltage_peak_v && rule.voltage_kind != VoltageKind::unknown)
        fail_half(request, words.voltage_kind_place, "voltage_peak_v",
                  "the voltage's kind is given without a voltage: expected --voltage-peak V "
                  "(voltage_peak_v) as well");
    if (rule.required_mm) return;
    if (rule.voltage_peak_v && rule.row.empty())
        fail_half(request, words.voltage_peak_place, "spacing_row (B1, B2, B3, B4, A5, A6 or A7)",
                  "a peak voltage is given without a row of the spacing table: expected --spacing-row "
                  "(spacing_row) B1, B2, B3, B4, A5, A6 or A7 as well",
                  "; the row is your choice: the table does not name a screw in a bare hole facing an inner "
                  "plane");
    if (!rule.row.empty() && !rule.voltage_peak_v)
        fail_half(request, words.row_place, "voltage_peak_v",
                  "row " + rule.row +
                      " of the spacing table is given without a voltage: expected --voltage-peak V "
                      "(voltage_peak_v) as well");
}

} // namespace ringwall
