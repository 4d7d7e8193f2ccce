// SPDX-License-Identifier: Apache-2.0
#include "casefile/casefile.hpp"
#include "ringwall/error.hpp"

#include <doctest/doctest.h>
#include <fstream>
#include <unistd.h>

using namespace ringwall;

namespace {

/// A case file in a folder of its own, gone at the end.
class CaseOnDisk {
  public:
    explicit CaseOnDisk(const std::string& text) {
        std::string name = (std::filesystem::temp_directory_path() / "ringwall-case-XXXXXX").string();
        REQUIRE(mkdtemp(name.data()) != nullptr);
        folder_ = name;
        std::ofstream(path()) << text;
    }
    ~CaseOnDisk() { std::filesystem::remove_all(folder_); }
    CaseOnDisk(const CaseOnDisk&) = delete;
    CaseOnDisk& operator=(const CaseOnDisk&) = delete;
    [[nodiscard]] std::filesystem::path path() const { return folder_ / "board.toml"; }
    [[nodiscard]] std::filesystem::path folder() const { return folder_; }

  private:
    std::filesystem::path folder_;
};

std::string error_of(const std::string& text) {
    const CaseOnDisk on_disk(text);
    try {
        (void)read_case(on_disk.path());
    } catch (const Error& error) {
        CHECK(error.fault() == Fault::input);
        std::string line = error.what();
        CHECK(line.find('\n') == std::string::npos);
        const auto name = line.find("board.toml");
        CHECK(name != std::string::npos);
        return line.substr(name);
    }
    return "accepted";
}

constexpr const char* whole_case = R"([board]
name = "Controller"
revision = "B"
unit = "12"
serial = "never shown"
lot = "L1"
chosen = "random"
thickness_mm = 1.6
foil_um = 35
thinnest_foil_um = 24.9

[[picture]]
file = "face.tif"
shot = "face"
side_to_source = "bottom"
pixel_mm = [0.0249, 0.0251]
scale_u_percent = 0.5
dense = "bright"
radiometry = "linear"
flat = "flat.tif"
dark = "/abs/dark.tif"
taken_by = "somebody"
kv = 90

[picture.geometry]
source_to_board_mm = 200

[[picture]]
file = "edge.tif"
shot = "edge"
pixel_mm = 0.02

[[scale]]
from_px = [10, 20]
to_px = [510, 20.5]
mm = 12.5

[[scale]]
picture = "edge.tif"
from_px = [0, 0]
to_px = [0, 100]
mm = 2
u_mm = 0.01
with = "gauge block"

[screw]
name = "M3"

[rule]
voltage_peak_v = 24
confidence = 0.9

[[custody]]
when = "today"

[continuity]
file = "meter.csv"
)";

} // namespace

TEST_CASE("every key that is used arrives, the others of the contract are read over in silence") {
    const CaseOnDisk on_disk(whole_case);
    const CaseFile read = read_case(on_disk.path());
    REQUIRE(read.warnings.size() == 1);
    CHECK(read.warnings[0] == "screw and rule in the case file are not judged in this version");
    CHECK(read.board.name == "Controller");
    CHECK(read.board.revision == "B");
    CHECK(read.board.unit == "12");
    CHECK(*read.board.thickness_mm == 1.6);
    CHECK(*read.board.foil_um == 35);
    CHECK(*read.board.thinnest_foil_um == 24.9);
    CHECK(*read.confidence == 0.9);
    REQUIRE(read.pictures.size() == 2);
    const CasePicture& face = read.pictures[0];
    CHECK(face.file == on_disk.folder() / "face.tif");
    CHECK(face.shot == Shot::face);
    CHECK(face.side_to_source == "bottom");
    CHECK(*face.pixel_mm == std::array{0.0249, 0.0251});
    CHECK(*face.scale_u_percent == 0.5);
    CHECK(face.dense == DenseSide::bright);
    CHECK(face.radiometry == Radiometry::linear);
    CHECK(*face.flat == on_disk.folder() / "flat.tif");
    CHECK(*face.dark == "/abs/dark.tif");
    CHECK(read.pictures[1].shot == Shot::edge);
    CHECK(*read.pictures[1].pixel_mm == std::array{0.02, 0.02});
    REQUIRE(read.scales.size() == 2);
    CHECK(read.scales[0].picture == 0);
    CHECK(read.scales[0].to_px == Point{510, 20.5});
    CHECK(read.scales[1].picture == 1);
    CHECK(read.scales[1].mm == 2);
}

TEST_CASE("unknown keys are named with their line and ignored") {
    const CaseOnDisk on_disk(
        "colour = \"blue\"\n[board]\nnmae = \"x\"\n[[picture]]\nfile = \"a.tif\"\npixle_mm = 2\n"
        "[picture.geometry]\nheight = 3\n");
    const CaseFile read = read_case(on_disk.path());
    REQUIRE(read.warnings.size() == 4);
    const auto has = [&](const std::string& warning) {
        return std::find(read.warnings.begin(), read.warnings.end(), warning) != read.warnings.end();
    };
    CHECK(has("board.toml, line 1: key [colour] is unknown and ignored"));
    CHECK(has("board.toml, line 3: key [board] nmae is unknown and ignored"));
    CHECK(has("board.toml, line 6: key [picture] pixle_mm is unknown and ignored"));
    CHECK(has("board.toml, line 8: key [picture.geometry] height is unknown and ignored"));
    CHECK_FALSE(read.pictures[0].pixel_mm.has_value());
}

TEST_CASE("a wrong value is named with its line, what was expected and what stands there") {
    const std::string picture = "[[picture]]\nfile = \"a.tif\"\n";
    CHECK(error_of("[board]\nthickness_mm = \"thick\"\n" + picture) ==
          "board.toml, line 2: key [board] thickness_mm: expected a board of 0.1 to 10 mm (in "
          "millimetres, not micrometres), got 'thick'");
    CHECK(error_of("[board]\nthickness_mm = -1\n" + picture).find("got -1") != std::string::npos);
    CHECK(error_of("[board]\nfoil_um = nan\n" + picture).find("foil_um") != std::string::npos);
    CHECK(error_of("[board]\nname = 7\n" + picture) ==
          "board.toml, line 2: key [board] name: expected text in quotes, got 7");
    CHECK(
        error_of(picture + "shot = \"side\"\n") ==
        "board.toml, line 3: key [picture] shot: expected one of \"face\", \"edge\", \"stack\", got 'side'");
    CHECK(error_of(picture + "pixel_mm = 0\n").find("one or two [x, y], got 0") != std::string::npos);
    CHECK(error_of(picture + "pixel_mm = [1, 2, 3]\n").find("pixel_mm") != std::string::npos);
    CHECK(
        error_of(picture + "[[scale]]\nfrom_px = [1, 2]\nmm = 3\n").find("[scale] to_px: expected a point") !=
        std::string::npos);
    CHECK(error_of(picture + "[[scale]]\npicture = \"b.tif\"\nfrom_px=[1,2]\nto_px=[3,4]\nmm=3\n")
              .find("[scale] picture") != std::string::npos);
    CHECK(error_of(picture + "[rule]\nconfidence = 1.5\n")
              .find("[rule] confidence: expected a number between 0.5 and 1") != std::string::npos);
    CHECK(error_of("board = 3\n" + picture) == "board.toml, line 1: key board: expected a table, got 3");
    CHECK(
        error_of("[[picture]]\nshot = \"face\"\n").find("[picture] file: expected the picture's file name") !=
        std::string::npos);
    CHECK(error_of("[board]\nname = \"x\"\n") ==
          "board.toml: expected at least one [[picture]] with a file, got none");
    CHECK(error_of("[board\n").find("board.toml, line 1: no TOML") == 0);
    CHECK(error_of(std::string("\0\xff\xfe", 3)).find("no TOML") != std::string::npos);
}

TEST_CASE("a slip of the unit is refused, the ends of what can be are not") {
    const std::string picture = "[[picture]]\nfile = \"a.tif\"\n";
    const std::string pixels = "pixels of 0.0005 to 1 mm (in millimetres, not micrometres)";
    CHECK(error_of(picture + "pixel_mm = 25\n") ==
          "board.toml, line 3: key [picture] pixel_mm: expected " + pixels + ", one or two [x, y], got 25");
    CHECK(error_of(picture + "pixel_mm = [0.025, 25]\n").find("expected " + pixels) != std::string::npos);
    CHECK(error_of(picture + "pixel_mm = 0.0004\n").find("got 0.0004") != std::string::npos);
    CHECK(error_of(picture + "[[scale]]\nfrom_px = [0, 0]\nto_px = [500, 0]\nmm = 12500\n") ==
          "board.toml, line 6: key [scale] mm: expected a length that makes " + pixels + ", got 12500");
    CHECK(error_of("[board]\nfoil_um = 0.035\n" + picture) ==
          "board.toml, line 2: key [board] foil_um: expected a foil of 2 to 500 um (in micrometres, not "
          "millimetres), got 0.035");
    CHECK(error_of("[board]\nthinnest_foil_um = 501\n" + picture).find("thinnest_foil_um: expected a foil") !=
          std::string::npos);
    CHECK(error_of("[board]\nthickness_mm = 1600\n" + picture).find("got 1600") != std::string::npos);
    for (const char* ends : {"0.0005", "1", "[0.0005, 1]"})
        CHECK(error_of(picture + "pixel_mm = " + ends + "\n") == "accepted");
    CHECK(error_of("[board]\nfoil_um = 2\nthinnest_foil_um = 500\nthickness_mm = 10\n" + picture) ==
          "accepted");
    CHECK(error_of("[board]\nthickness_mm = 0.1\n" + picture) == "accepted");
}

TEST_CASE("screw and rule are said to wait for a later version; a confidence alone is used") {
    const auto warnings_of = [](const std::string& more) {
        const CaseOnDisk on_disk("[[picture]]\nfile = \"a.tif\"\n" + more);
        return read_case(on_disk.path()).warnings;
    };
    using Lines = std::vector<std::string>;
    CHECK(warnings_of("[rule]\nconfidence = 0.9\n").empty());
    CHECK(warnings_of("[rule]\nconfidence = 0.9\nrequired_mm = 1\n") ==
          Lines{"rule in the case file is not judged in this version"});
    CHECK(warnings_of("[screw]\nname = \"M3\"\n") ==
          Lines{"screw in the case file is not judged in this version"});
}

TEST_CASE("a case that is not there, or a folder") {
    CHECK_THROWS_WITH_AS((void)read_case("/nowhere/case.toml"), "/nowhere/case.toml: no such file", Error);
    CHECK_THROWS_AS((void)read_case(std::filesystem::temp_directory_path()), Error);
}

TEST_CASE("a scale from a hole's size is left for later, with a word") {
    const CaseOnDisk on_disk("[[picture]]\nfile = \"a.tif\"\n[[scale]]\nhole = \"H1\"\nmm = 3.2\n");
    const CaseFile read = read_case(on_disk.path());
    CHECK(read.scales.empty());
    REQUIRE(read.warnings.size() == 1);
    CHECK(read.warnings[0].find("not in this version") != std::string::npos);
}
