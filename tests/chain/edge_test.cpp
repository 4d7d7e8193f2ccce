// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"
#include "ringwall/files.hpp"
#include "ringwall/inspection.hpp"
#include "stackup/edge_boards.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <filesystem>
#include <fstream>

using namespace ringwall;
using namespace ringwall::test;

namespace {

void write(const std::filesystem::path& file, const EdgeCase& c) {
    const Image<float> drawn = phantom::draw_edge_on(c.board, c.shot, c.exposure);
    write_tiff16(file, phantom::expose_drawn(drawn.view(), c.exposure).view(), c.exposure.pixel_mm);
}

BoardRecord inspected(const InspectRequest& request) {
    InspectWatch watch;
    const InspectOutcome outcome = inspect(request, watch);
    const auto* record = std::get_if<BoardRecord>(&outcome);
    REQUIRE(record != nullptr);
    return *record;
}

InspectRequest edge_request(const std::filesystem::path& file) {
    InspectRequest request;
    request.pictures = {file};
    request.shot = Shot::edge;
    request.radiometry = Radiometry::linear;
    request.pixel_mm = {0.02, 0.02};
    request.scale_u_percent = 0.1;
    request.foil_um = 35;
    return request;
}

} // namespace

TEST_CASE("edge-on from file to record and back") {
    const Scratch scratch;
    EdgeCase c = plain_edge(6);
    add_via(c, 12, 8, 0.5);
    c.shot.rotation_deg = 1.2;
    write(scratch / "edge.tif", c);
    InspectRequest request = edge_request(scratch / "edge.tif");
    request.board_mm = 1.8; // not the board's 1.6
    const BoardRecord record = inspected(request);
    CHECK(record.why_nothing.empty());
    CHECK(record.holes.empty());
    REQUIRE(record.thickness_mm);
    CHECK(std::abs(record.thickness_mm.value() - 1.6) <
          0.2 * 0.02 + 2 * 0.0016); // 0.2 px and 2 u of the scale
    CHECK(record.copper_layers.value == 6);
    CHECK(record.copper_layers.layers_z_mm.size() == 6);
    CHECK(record.barrels.size() == 1);
    REQUIRE(record.edge);
    double share = 0;
    for (const BudgetLine& line : record.edge->budget)
        share += line.share;
    CHECK(share == doctest::Approx(1));
    bool told = false;
    for (const auto& warning : record.sources.front().warnings)
        told = told || warning.find("1.8 mm") != std::string::npos;
    CHECK(told);
    CHECK(from_json(to_json(record, scratch / ".")).edge == record.edge);
    CHECK(from_json(to_json(record, scratch / ".")).copper_layers == record.copper_layers);
    CHECK(from_json(to_json(record, scratch / ".")).barrels == record.barrels);
    request.jobs = 1;
    CHECK(to_json(inspected(request), scratch / ".") == to_json(record, scratch / "."));
}

TEST_CASE("edge-on without a scale: pixels, no millimetres") {
    const Scratch scratch;
    const EdgeCase c = plain_edge(4);
    const Image<float> drawn = phantom::draw_edge_on(c.board, c.shot, c.exposure);
    write_tiff16(scratch / "edge.tif", phantom::expose_drawn(drawn.view(), c.exposure).view(), 0);
    InspectRequest request = edge_request(scratch / "edge.tif");
    request.pixel_mm.reset();
    const BoardRecord record = inspected(request);
    CHECK_FALSE(record.why_nothing.empty());
    CHECK_FALSE(record.thickness_mm);
    REQUIRE(record.edge);
    CHECK(record.edge->thickness_px);
    CHECK(record.copper_layers.value == 4);
    CHECK(record.copper_layers.layers_z_mm.empty());
}

TEST_CASE("edge-on: a picture without a board is a result, not a fault") {
    const Scratch scratch;
    EdgeCase c = plain_edge(2);
    c.board.outline = {{{2, 2}, {2.2, 2}, {2.2, 2.2}, {2, 2.2}}};
    c.board.layers.clear();
    write(scratch / "edge.tif", c);
    const BoardRecord record = inspected(edge_request(scratch / "edge.tif"));
    CHECK_FALSE(record.why_nothing.empty());
    CHECK_FALSE(record.edge);
    CHECK_FALSE(record.thickness_mm);
    CHECK_FALSE(record.copper_layers.value);
}

TEST_CASE("small board face-on and edge-on in one case fill one record") {
    const Scratch scratch;
    write(scratch / "edge.tif", plain_edge(4));
    phantom::RandomBoard choice;
    choice.seed = 3, choice.width_mm = 16, choice.height_mm = 12, choice.hardware_holes = 2, choice.vias = 3;
    phantom::Exposure exposure;
    write_tiff16(scratch / "face.tif", phantom::expose(phantom::random_board(choice), exposure).view(),
                 0.025);
    std::ofstream(scratch / "case.toml")
        << "[board]\nname = \"b\"\nfoil_um = 35\n"
           "[[picture]]\nfile = \"face.tif\"\npixel_mm = 0.025\n"
           "[[picture]]\nfile = \"edge.tif\"\nshot = \"edge\"\npixel_mm = 0.02\n";
    InspectRequest request = request_of_case(scratch / "case.toml");
    CHECK(request.shot == Shot::face);
    REQUIRE(request.edge_on.size() == 1);
    Session session(request);
    InspectWatch watch;
    const InspectOutcome outcome = inspect(session, watch);
    const auto& record = std::get<BoardRecord>(outcome);
    CHECK(record.holes.size() >= 2);
    REQUIRE(record.sources.size() == 2);
    CHECK(record.sources[1].shot == Shot::edge);
    CHECK(record.thickness_mm);
    CHECK(record.copper_layers.value == 4);
    REQUIRE(record.edge);
    CHECK(record.edge->source == 1);
    write_results(record, session, scratch / "out");
    CHECK(std::filesystem::exists(scratch / "out" / "overlay-edge.png"));
    CHECK(std::filesystem::exists(scratch / "out" / "overlay.png"));
}
