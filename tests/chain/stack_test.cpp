// SPDX-License-Identifier: Apache-2.0
#include "chain/drawn_boards.hpp"
#include "stackup/drawn_volume.hpp"

#include <doctest/doctest.h>

#include <algorithm>
#include <fstream>

using namespace ringwall;
using namespace ringwall::test;

namespace {

/// A MetaImage file of a drawn volume.
std::filesystem::path written(const DrawnVolume& drawn, const Scratch& scratch) {
    const auto header = scratch / "stack.mhd";
    std::ofstream(header)
        << "ObjectType = Image\nNDims = 3\nBinaryData = True\nBinaryDataByteOrderMSB = False\n"
        << "DimSize = " << drawn.slices.front().width() << ' ' << drawn.slices.front().height() << ' '
        << drawn.slices.size()
        << "\nElementSpacing = 0.025 0.025 0.025\nElementType = MET_USHORT\nElementDataFile = stack.raw\n";
    std::ofstream data(scratch / "stack.raw", std::ios::binary);
    for (const auto& slice : drawn.slices)
        data.write(reinterpret_cast<const char*>(slice.view().row(0)),
                   static_cast<std::streamsize>(slice.size() * sizeof(std::uint16_t)));
    return header;
}

InspectRequest request_of(const std::filesystem::path& file) {
    InspectRequest request;
    request.pictures = {file};
    request.shot = Shot::stack;
    request.voxel_mm = {0.025, 0.025, 0.025};
    request.scale_u_percent = 0.0;
    return request;
}

} // namespace

TEST_CASE("a slice stack from file to results: layers, planes, walls, the same bytes on any thread count") {
    const Scratch scratch;
    phantom::VolumeScan scan = small_scan();
    scan.bow_mm = 0.02;
    const DrawnVolume drawn(small_board(3), scan);
    InspectRequest request = request_of(written(drawn, scratch));
    REQUIRE(is_slice_stack(request.pictures.front()));
    request.jobs = 2;
    Session session(request);
    InspectWatch watch;
    auto outcome = inspect(session, watch);
    REQUIRE(std::holds_alternative<BoardRecord>(outcome));
    const BoardRecord& record = std::get<BoardRecord>(outcome);
    CHECK(record.why_nothing.empty());
    for (const std::string& note : record.sources.front().warnings) { // the size was given
        CHECK(note.find("no unit of length") == std::string::npos);
        CHECK(note.find("no voxel size") == std::string::npos);
    }
    REQUIRE(record.layers);
    CHECK(record.layers->size() == 4);
    CHECK(std::abs(record.thickness_mm.value() - 1.0) < 0.2 * 0.025);
    const auto truth = phantom::truth(drawn.board);
    CHECK(record.holes.size() == truth.size());
    for (const phantom::HoleTruth& is : truth) {
        const HoleRecord* hole = found_at(record, is, 0.025);
        REQUIRE(hole != nullptr);
        REQUIRE(hole->keepout.planes.size() == 4);
        CHECK(hole->keepout.planes[1].layer == 2);
        CHECK(hole->wall.state == (is.plating_um > 0 ? WallState::plated : WallState::bare));
        CHECK(hole->stack);
    }
    const auto folder = scratch / "out";
    write_results(record, session, folder);
    for (const char* file :
         {"results.json", "overlay.png", "layer-1.png", "layer-4.png", "wall-H1.png", "report.html"})
        CHECK(std::filesystem::exists(folder / file));
    std::ifstream file(folder / "report.html", std::ios::binary);
    const std::string page{std::istreambuf_iterator<char>(file), {}};
    for (int k = 1; k <= 4; ++k) { // each layer's own picture stands over its words
        const auto words = page.find("Layer " + std::to_string(k) + " of 4 seen: middle of its copper");
        REQUIRE(words != std::string::npos);
        const auto picture = page.rfind("<img src=\"data:image/png;base64,", words);
        CHECK(page.find("Copper layer " + std::to_string(k) + ", alone", picture) < words);
    }
    CHECK(to_json(from_json(to_json(record, folder)), folder) == to_json(record, folder));
    write_results(record, session, folder); // a folder of its own is replaced
    request.jobs = 1;
    CHECK(to_json(measured(request), folder) == to_json(record, folder));
}

TEST_CASE("a case file's stack is measured as the case says; one that has changed since is refused") {
    const Scratch scratch;
    phantom::VolumeScan scan = small_scan();
    scan.bow_mm = 0.02;
    const DrawnVolume drawn(small_board(3), scan);
    InspectRequest request = request_of(written(drawn, scratch));
    const auto write_case = [&](const std::string& more, const std::string& pictures = "") {
        std::ofstream(scratch / "case.toml")
            << "[board]\nname = \"b\"\n"
            << pictures << "[[picture]]\nfile = \"stack.mhd\"\nshot = \"stack\"\nvoxel_mm = 0.025\n"
            << "scale_u_percent = 0.5\n"
            << more << "[screw]\nname = \"M2\"\n[rule]\nrequired_mm = 0.1\n"
            << "[[layer]]\nnumber = 2\nrole = \"ground\"\nevidence = \"drawing\"\n"
            << "[[layer]]\nnumber = 9\nrole = \"ground\"\nevidence = \"drawing\"\n";
        return scratch / "case.toml";
    };
    const InspectRequest of_case = request_of_case(write_case(""));
    CHECK(of_case.shot == Shot::stack);
    request.scale_u_percent = 0.5;
    const BoardRecord record = measured(of_case), plain = measured(request);
    CHECK(record.name == "b");
    CHECK(record.sources.front().shot == Shot::stack);
    REQUIRE(record.layers);
    std::vector<LayerRecord> layers = *record.layers;
    CHECK(layers[0].stated_role.empty());
    CHECK(layers[1].stated_role == "ground");
    CHECK(layers[1].evidence == "drawing");
    CHECK_FALSE(layers[1].treated_as_live);
    layers[1].stated_role = layers[1].evidence = "", layers[1].treated_as_live = true;
    CHECK(layers == *plain.layers);
    const auto& warnings = record.sources.front().warnings;
    CHECK(std::find(warnings.begin(), warnings.end(),
                    "the case speaks of layer 9 (ground), which was not seen in this stack") !=
          warnings.end());
    CHECK(record.copper_layers.value == 4);
    REQUIRE(record.holes.size() == plain.holes.size());
    bool judged = false;
    for (std::size_t i = 0; i < record.holes.size(); ++i) {
        CHECK(record.holes[i].bore_mm == plain.holes[i].bore_mm);
        if (!record.holes[i].screw) continue;
        judged = true;
        const ScrewFit& screw = *record.holes[i].screw;
        CHECK(screw.would_decide.find("slice stack") == std::string::npos);
    }
    CHECK(judged);

    const std::string other(64, 'a');
    InspectWatch watch;
    const auto refused = inspect(request_of_case(write_case("sha256 = \"" + other + "\"\n")), watch);
    REQUIRE(std::holds_alternative<Error>(refused));
    CHECK(std::get<Error>(refused).fault() == Fault::input);
    CHECK(std::string(std::get<Error>(refused).what()).find("has changed") != std::string::npos);

    // Beside a face-on picture the stack is left out with a word, unless it is asked for.
    const auto both = write_case("", "[[picture]]\nfile = \"face.tif\"\n");
    const InspectRequest face = request_of_case(both);
    CHECK(face.shot == Shot::face);
    const auto told = [](const InspectRequest& in) {
        return std::any_of(in.notes.begin(), in.notes.end(), [](const std::string& note) {
            return note.find("is left out") != std::string::npos;
        });
    };
    CHECK(told(face));
    const InspectRequest stack = request_of_case(both, Shot::stack);
    CHECK(stack.shot == Shot::stack);
    CHECK(stack.pictures.front().filename() == "stack.mhd");
    CHECK(told(stack));
}

TEST_CASE("a barrel cut through is recorded with its depths, in mm and in slices") {
    const Scratch scratch;
    phantom::Board board = small_board(3);
    phantom::VolumeScan scan = small_scan();
    std::size_t cut = board.drills.size();
    for (std::size_t i = 0; i < board.drills.size(); ++i)
        if (board.drills[i].plating_um > 0) cut = i;
    REQUIRE(cut < board.drills.size());
    scan.breaks = {{cut, 0.42, 0.58}};
    const DrawnVolume drawn(board, scan);
    const BoardRecord record = measured(request_of(written(drawn, scratch)));
    const auto truth = phantom::truth(drawn.board);
    std::size_t breaks = 0;
    for (const HoleRecord& hole : record.holes)
        breaks += hole.stack ? hole.stack->breaks.size() : 0;
    CHECK(breaks == 1);
    const HoleRecord* hole = found_at(record, truth[cut], 0.025);
    REQUIRE(hole != nullptr);
    REQUIRE(hole->stack);
    REQUIRE(hole->stack->breaks.size() == 1);
    const BarrelBreak& gap = hole->stack->breaks.front();
    // Cells of 0.025 mm: either end lies on a cell's edge, and the blur of one slice may move it by one more.
    CHECK(std::abs(gap.from_mm.value() - 0.42) < 2 * 0.025);
    CHECK(std::abs(gap.to_mm.value() - 0.58) < 2 * 0.025);
    CHECK(gap.to_mm.value() == doctest::Approx(gap.to_slices * 0.025));
}

TEST_CASE("a board that leaves the stack: nothing is measured, and the results say where it was seen") {
    const Scratch scratch;
    DrawnVolume drawn(small_board(3), small_scan());
    drawn.slices.resize(40);
    const BoardRecord record = measured(request_of(written(drawn, scratch)));
    CHECK(record.why_nothing.find("leaves the volume: seen from slice") != std::string::npos);
    CHECK(record.holes.empty());
}

TEST_CASE("measuring a stack can be stopped") {
    struct StopAt : InspectWatch {
        std::string_view stage;
        bool stop = false;
        void progress(std::string_view at, int /*done*/, int /*total*/) override { stop |= at == stage; }
        bool cancelled() override { return stop; }
    };
    const Scratch scratch;
    const DrawnVolume drawn(small_board(3), small_scan());
    const InspectRequest request = request_of(written(drawn, scratch));
    for (const std::string_view stage : {"looking for the board", "gathering layers", "reading walls"}) {
        StopAt watch;
        watch.stage = stage;
        const auto outcome = inspect(request, watch);
        CHECK(watch.stop);
        CHECK(std::holds_alternative<CancelledOutcome>(outcome));
    }
}
