// SPDX-License-Identifier: Apache-2.0
#include "casefile/casefile.hpp"

#include "casefile/case_text.hpp"
#include "ringwall/error.hpp"
#include "ringwall/limits.hpp"

#include <cmath>

namespace ringwall {
namespace {

void read_board(const TomlTable& table, CaseBoard& board) {
    board.name = table.text_or_empty("name");
    board.revision = table.text_or_empty("revision");
    board.unit = table.text_or_empty("unit");
    board.intake.serial = table.text_or_empty("serial");
    board.intake.lot = table.text_or_empty("lot");
    board.intake.lot_size = table.whole("lot_size", 1, "how many units the lot has, 1 or more");
    board.intake.chosen = table.text_or_empty("chosen");
    board.thickness_mm = table.number("thickness_mm", board_limits_mm);
    board.foil_um = table.number("foil_um", foil_limits_um);
    board.thinnest_foil_um = table.number("thinnest_foil_um", foil_limits_um);
}

std::optional<std::array<double, 2>> read_pixel(const TomlTable& table) {
    const std::string expected = std::string(pixel_limits_mm.expected) + ", one or two [x, y]";
    const Limits limits{pixel_limits_mm.least, pixel_limits_mm.most, expected.c_str()};
    const toml::node* node = table.find("pixel_mm");
    if (node == nullptr) return std::nullopt;
    if (node->is_array()) {
        const auto both = table.pair("pixel_mm", -infinity, expected);
        if (!limits.hold((*both)[0]) || !limits.hold((*both)[1])) table.fail("pixel_mm", *node, expected);
        return both;
    }
    const double mm = table.number_of("pixel_mm", *node, limits);
    return std::array{mm, mm};
}

std::optional<std::array<double, 3>> read_voxel(const TomlTable& table) {
    const std::string expected = std::string(pixel_limits_mm.expected) + ", one or three [x, y, z]";
    const Limits limits{pixel_limits_mm.least, pixel_limits_mm.most, expected.c_str()};
    const toml::node* node = table.find("voxel_mm");
    if (node == nullptr) return std::nullopt;
    const toml::array* list = node->as_array();
    if (list == nullptr) {
        const double mm = table.number_of("voxel_mm", *node, limits);
        return std::array{mm, mm, mm};
    }
    if (list->size() != 3) table.fail("voxel_mm", *node, expected);
    std::array<double, 3> voxel{};
    for (std::size_t i = 0; i < 3; ++i)
        voxel.at(i) = table.number_of("voxel_mm", *list->get(i), limits);
    return voxel;
}

/// The distances, and the pixel size that follows from them: the detector's, shrunk by the magnification.
void read_geometry(const CaseText& text, const TomlTable& picture_table, CasePicture& picture) {
    const toml::node* node = picture_table.find("geometry");
    if (node == nullptr) return;
    if (!node->is_table()) picture_table.fail("geometry", *node, "one [picture.geometry]");
    const TomlTable table(*node->as_table(), "picture.geometry", text.name());
    const auto to_board = table.number("source_to_board_mm", distance_limits_mm);
    const auto to_detector = table.number("source_to_detector_mm", distance_limits_mm);
    const auto pixel = table.number("detector_pixel_mm", detector_limits_mm);
    const auto centre = table.pair("centre_px", -infinity, "a point [x, y] in px");
    if (!to_board) table.missing("source_to_board_mm", distance_limits_mm.expected);
    if (to_detector && *to_detector < *to_board)
        table.fail("source_to_detector_mm", *table.find("source_to_detector_mm"),
                   "a detector not nearer to the source than the board");
    picture.geometry = PictureGeometry{*to_board, std::nullopt, std::nullopt};
    picture.geometry->board_depth_mm = table.number("board_depth_mm", distance_limits_mm);
    if (picture.geometry->board_depth_mm.value_or(0) >= 2 * *to_board)
        table.fail("board_depth_mm", *table.find("board_depth_mm"), "a source that is outside of the board");
    if (centre) picture.geometry->centre_px = Point{(*centre)[0], (*centre)[1]};
    if (!to_detector || !pixel) return;
    picture.geometry_pixel_mm = *pixel * *to_board / *to_detector;
    if (!pixel_limits_mm.hold(*picture.geometry_pixel_mm))
        table.fail("detector_pixel_mm", *table.find("detector_pixel_mm"),
                   "distances that make " + std::string(pixel_limits_mm.expected));
}

void read_words(const TomlTable& table, CasePicture& picture) {
    table.choice("side_to_source", {"top", "bottom", "unknown"}, picture.side_to_source);
    table.choice<Shot>("shot", {{"face", Shot::face}, {"edge", Shot::edge}, {"stack", Shot::stack}},
                       picture.shot);
    table.choice<DenseSide>(
        "dense", {{"dark", DenseSide::dark}, {"bright", DenseSide::bright}, {"auto", DenseSide::automatic}},
        picture.dense);
    table.choice<Radiometry>(
        "radiometry",
        {{"linear", Radiometry::linear}, {"log", Radiometry::log}, {"display", Radiometry::display}},
        picture.radiometry);
}

CasePicture picture_of(const CaseText& text, const TomlTable& table) {
    CasePicture picture;
    const auto file = table.text("file");
    if (!file || file->empty()) table.missing("file", "the picture's file name");
    picture.file = text.beside(*file);
    picture.sha256 = table.sha256_or_empty("sha256");
    read_words(table, picture);
    picture.pixel_mm = read_pixel(table);
    picture.voxel_mm = read_voxel(table);
    picture.scale_u_percent = table.number("scale_u_percent", 0, 100, "a share between 0 and 100 percent");
    read_geometry(text, table, picture);
    if (const auto flat = table.text("flat")) picture.flat = text.beside(*flat);
    if (const auto dark = table.text("dark")) picture.dark = text.beside(*dark);
    picture.notes = read_picture_notes(table);
    return picture;
}

/// What both kinds of scale have.
CaseScale length_of(const CaseText& text, const TomlTable& table, const CaseFile& read) {
    CaseScale scale;
    const auto mm = table.number("mm", 0, infinity, "a length over 0 mm");
    if (!mm) table.missing("mm", "a length over 0 mm");
    scale.mm = *mm;
    scale.u_mm = table.number("u_mm", 0, 100, "a standard uncertainty (k = 1) over 0 mm");
    scale.with = table.text_or_empty("with");
    scale.picture = picture_index(text, table, read);
    return scale;
}

CaseScale between_points(const TomlTable& table, CaseScale scale) {
    const std::string point = "a point [x, y] in px";
    const auto from = table.pair("from_px", -infinity, point), to = table.pair("to_px", -infinity, point);
    if (!from) table.missing("from_px", point);
    if (!to) table.missing("to_px", point);
    scale.from_px = {(*from)[0], (*from)[1]};
    scale.to_px = {(*to)[0], (*to)[1]};
    const double length_px = std::hypot(scale.to_px.x - scale.from_px.x, scale.to_px.y - scale.from_px.y);
    if (length_px >= 1 && !pixel_limits_mm.hold(scale.mm / length_px)) {
        table.fail("mm", *table.find("mm"), "a length that makes " + std::string(pixel_limits_mm.expected));
    }
    return scale;
}

CaseScale across_hole(const TomlTable& table, CaseScale scale) {
    for (const char* key : {"from_px", "to_px"})
        if (const toml::node* node = table.find(key))
            table.fail(key, *node, "two points or a hole, not both");
    scale.hole = table.text_or_empty("hole");
    scale.hole_place = table.place("hole");
    return scale;
}

void read_scales(const CaseText& text, CaseFile& read) {
    for (const TomlTable& table : text.tables("scale")) {
        const CaseScale scale = length_of(text, table, read);
        read.scales.push_back(table.find("hole") != nullptr ? across_hole(table, scale)
                                                            : between_points(table, scale));
    }
}

/// For the end of an error.
std::string hint_of(const std::vector<UnknownKey>& unknown) {
    std::string hint;
    for (const UnknownKey& each : unknown)
        hint += (hint.empty() ? "; unknown key " : ", ") + each.key + " in line " + std::to_string(each.line);
    return hint;
}

void read_all(const CaseText& text, CaseFile& read) {
    if (const auto table = text.one("board")) read_board(*table, read.board);
    for (const TomlTable& table : text.tables("picture"))
        read.pictures.push_back(picture_of(text, table));
    if (read.pictures.empty()) {
        throw Error(Fault::input, text.name() + ": expected at least one [[picture]] with a file, got none");
    }
    read_scales(text, read);
    read_assembly(text, read);
    read_evidence(text, read);
}

} // namespace

CaseFile read_case(const std::filesystem::path& file) {
    const CaseText text(file);
    CaseFile read;
    const std::vector<UnknownKey> unknown = text.unknown_keys();
    for (const UnknownKey& each : unknown)
        read.warnings.push_back(each.place + "key " + each.key + " is unknown and ignored");
    read.unknown_keys = hint_of(unknown);
    try {
        read_all(text, read);
    } catch (const Error& error) {
        throw Error(error.fault(), error.what() + read.unknown_keys);
    }
    return read;
}

} // namespace ringwall
