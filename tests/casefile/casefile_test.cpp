// SPDX-License-Identifier: Apache-2.0
#include "casefile/casefile.hpp"
#include "casefile/file_on_disk.hpp"
#include "ringwall/error.hpp"

#include <doctest/doctest.h>

using namespace ringwall;

namespace {

using ringwall::test::FileOnDisk;

/// A case file in a folder of its own, gone at the end.
struct CaseOnDisk : FileOnDisk {
    explicit CaseOnDisk(const std::string& text) : FileOnDisk("board.toml", text) {}
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
serial = "SN 7"
lot = "L1"
lot_size = 40
chosen = "random"
thickness_mm = 1.6
foil_um = 35
thinnest_foil_um = 24.9

[[picture]]
file = "face.tif"
sha256 = "0123456789ABCDEF0123456789ABCDEF0123456789ABCDEF0123456789ABCDEF"
shot = "face"
side_to_source = "bottom"
pixel_mm = [0.0249, 0.0251]
scale_u_percent = 0.5
dense = "bright"
radiometry = "linear"
flat = "flat.tif"
dark = "/abs/dark.tif"
taken_by = "somebody"
taken_on = 2026-03-01
cabinet_calibrated = "2026-01"
kv = 90
ua = 50.5
filter = "0.5 mm Al"
frames = 16
processing = "none"
repeat_of = "first.tif"
fitted = "bracket"
cycles = 0

[picture.geometry]
source_to_board_mm = 200
source_to_detector_mm = 800
detector_pixel_mm = 0.1
centre_px = [320, 240.5]

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

[[hole]]
at_px = [100, 200]
name = "oben links ö"
purpose = "mounting"
screw = "M2.5"

[[hole]]
picture = "edge.tif"
at_mm = [1.5, 2]
screw = "none"

[screw]
name = "M3"
table = "mine.csv"
major_mm = 2.98
minor_mm = 2.4
head_mm = 5.5
washer_mm = 7
washer_bore_mm = 3.2
tilt_deg = 1.5
engagement = "cuts"

[far_side]
outline_mm = 6

[rule]
voltage_peak_v = 24
voltage_kind = "dc"
spacing_row = "B4"
required_mm = 0.6
confidence = 0.9

[[layer]]
number = 2
role = "ground"
evidence = "meter, line 4"

[[layer]]
number = 3
role = "signal"

[[measured]]
what = "bore"
where = "H1"
value_mm = 3.31
u_mm = 0.004
with = "pin gauge"

[[custody]]
when = 2026-03-02
from = "lab"
to = "bench"
seal_before = "A1"
seal_after = "A2"
photographs = ["1.jpg", "2.jpg"]

[continuity]
file = "meter.csv"

[[unit]]
case = "unit-2.toml"
)";

} // namespace

TEST_CASE("every key of board, picture and scale arrives") {
    const CaseOnDisk on_disk(whole_case);
    const CaseFile read = read_case(on_disk.path());
    REQUIRE(read.warnings.size() == 1);
    CHECK(read.warnings[0].ends_with(
        ": layer 3 is treated as live: no evidence is given that it is \"signal\""));
    CHECK(read.board.intake == Intake{"SN 7", "L1", 40, "random"});
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
    CHECK(face.sha256 ==
          "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"); // small letters, as programs
                                                                               // write them
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
    CHECK(*read.scales[1].u_mm == 0.01);
    CHECK(read.scales[1].with == "gauge block");
    const PictureNotes notes{"face.tif",  "somebody", "2026-03-01", "2026-01", "0.5 mm Al", "none",
                             "first.tif", "bracket",  90,           50.5,      16,          0};
    CHECK(face.notes == notes);
    CHECK(*face.geometry == PictureGeometry{200, Point{320, 240.5}, {}});
    CHECK(*face.geometry_pixel_mm == doctest::Approx(0.1 / 4)); // magnified 800 / 200 times
}

TEST_CASE("every key of the assembly arrives") {
    const CaseOnDisk on_disk(whole_case);
    const CaseFile read = read_case(on_disk.path());
    REQUIRE(read.screw.has_value());
    const CaseScrew& screw = *read.screw;
    CHECK(screw.name == "M3");
    CHECK(screw.name_place.ends_with("board.toml, line 72: key [screw] name"));
    CHECK(*screw.table == on_disk.folder() / "mine.csv");
    CHECK(*screw.major_mm == 2.98);
    CHECK(*screw.minor_mm == 2.4);
    CHECK(*screw.head_mm == 5.5);
    CHECK(*screw.washer_mm == 7);
    CHECK(*screw.washer_bore_mm == 3.2);
    CHECK(screw.tilt_deg == 1.5);
    CHECK(*screw.engagement == Engagement::cuts);
    CHECK(*read.far_side_mm == 6);
    CHECK(read.rule == SpacingRule{24, VoltageKind::dc, "B4", 0.6});
    REQUIRE(read.holes.size() == 2);
    CHECK(read.holes[0].picture == 0);
    CHECK(read.holes[0].hole ==
          CaseHole{Point{100, 200}, std::nullopt, "oben links ö", "mounting", "M2.5", false, std::nullopt});
    CHECK(read.holes[1].picture == 1);
    CHECK(read.holes[1].hole == CaseHole{std::nullopt, Point{1.5, 2}, "", "", "", true, std::nullopt});
    REQUIRE(read.layers.size() == 2);
    CHECK(read.layers[0] == CaseLayer{2, "ground", "meter, line 4"});
    CHECK(read.layers[1] == CaseLayer{3, "signal", ""});
}

TEST_CASE("every key of the evidence arrives") {
    const CaseOnDisk on_disk(whole_case);
    const CaseFile read = read_case(on_disk.path());
    REQUIRE(read.measured.size() == 1);
    const HandMeasured& bore = read.measured[0];
    CHECK(bore.what == "bore");
    CHECK(bore.where == "H1");
    CHECK(bore.value_mm == 3.31);
    CHECK(*bore.u_mm == 0.004);
    CHECK(bore.with == "pin gauge");
    CHECK(read.custody == std::vector{Custody{"2026-03-02", "lab", "bench", "A1", "A2", "1.jpg, 2.jpg"}});
    CHECK(*read.continuity == on_disk.folder() / "meter.csv");
    CHECK(read.units == std::vector{on_disk.folder() / "unit-2.toml"});
}

TEST_CASE("reading a case changes no byte of it") {
    const CaseOnDisk on_disk(whole_case);
    const auto before = std::filesystem::last_write_time(on_disk.path());
    (void)read_case(on_disk.path());
    CHECK(on_disk.text() == whole_case);
    CHECK(std::filesystem::last_write_time(on_disk.path()) == before);
}

TEST_CASE("a wrong value of the assembly or the evidence is named with line, expected and got") {
    const std::string picture = "[[picture]]\nfile = \"a.tif\"\n";
    struct Row {
        const char *text, *says;
    };
    for (const Row& row : std::vector<Row>{
             {"[screw]\nmajor_mm = -3",
              "[screw] major_mm: expected a screw of 0.5 to 20 mm (in millimetres, not "
              "inches), got -3"},
             {"[screw]\nmajor_mm = 0.138", "got 0.138"}, // No. 6 in inches
             {"[screw]\nmajor_mm = 3", "[screw] minor_mm: expected the smallest diameter"},
             {"[screw]\nmajor_mm = 3\nminor_mm = 3.1",
              "line 5: key [screw] minor_mm: expected a minor diameter"},
             {"[screw]\ntilt_deg = 1", "[screw] name: expected the screw's name"},
             {"[screw]\nname = 3", "[screw] name: expected text in quotes, got 3"},
             {"[screw]\nname = \"M3\"\nhead_mm = \"5,5\"", "head_mm: expected a diameter of 0.5 to 60 mm"},
             {"[screw]\nname = \"M3\"\nwasher_bore_mm = 3", "washer_mm: expected the washer's diameter"},
             {"[screw]\nname = \"M3\"\nwasher_bore_mm = 8\nwasher_mm = 7",
              "expected a bore under washer_mm, got 8"},
             {"[screw]\nname = \"M3\"\ntilt_deg = 46", "expected a tilt of 0 to 45 degrees"},
             {"[screw]\nname = \"M3\"\nengagement = \"loose\"", "one of \"free\", \"cuts\", got 'loose'"},
             {"[[screw]]\nname = \"M3\"\n[[screw]]\nname = \"M4\"",
              "line 5: key [[screw]]: expected one [screw]"},
             {"[far_side]\noutline_mm = 0", "[far_side] outline_mm: expected a diameter"},
             {"[rule]\nvoltage_peak_v = 0",
              "[rule] voltage_peak_v: expected a peak voltage of 0.1 to 10000 V"},
             {"[rule]\nvoltage_peak_v = -24", "got -24"},
             {"[rule]\nvoltage_peak_v = 10001", "got 10001"},
             {"[rule]\nvoltage_peak_v = 1e300", "10000 V (of a sine: rms x 1.414), got 1e+300"},
             {"[rule]\nvoltage_kind = \"rms\"", "voltage_kind: expected one of \"dc\", \"ac\", got 'rms'"},
             {"[rule]\nspacing_row = \"B5\"", "\"B4\", \"A5\", \"A6\", \"A7\", got 'B5'"},
             {"[rule]\nrequired_mm = 130", "required_mm: expected a spacing of 0.01 to 50 mm"},
             {"[[hole]]\nname = \"x\"", "[hole] at_px: expected a point [x, y] in the hole"},
             {"[[hole]]\nat_px = [1, 2]\nat_mm = [1, 2]", "[hole] at_mm: expected at_px or at_mm, not both"},
             {"[[hole]]\nat_px = [1, 2]\nname = \"a\"\n[[hole]]\nat_px = [9, 9]\nname = \"a\"",
              "line 8: key [hole] name: expected a name that no other hole of the picture has, got 'a'"},
             {"[[layer]]\nnumber = 0", "[layer] number: expected the layer's number, 1 or more"},
             {"[[layer]]\nnumber = 1\nrole = \"hot\"", "[layer] role: expected one of \"live\""},
             {"[[measured]]\nvalue_mm = 3", "[measured] what: expected one of \"bore\""},
             {"[[measured]]\nwhat = \"bore\"\nvalue_mm = 3",
              "[measured] where: expected the hole's name or id"},
             {"[[measured]]\nwhat = \"thickness\"\nvalue_mm = -1.6", "value_mm: expected a length over 0"},
             {"[[measured]]\nwhat = \"thickness\"\nvalue_mm = 1.6\nu_mm = 0", "u_mm: expected a standard"},
             {"[continuity]\nfile = \"\"", "[continuity] file: expected the continuity log's file name"},
             {"[[unit]]\n", "[unit] case: expected the case file of a further unit"},
             {"[picture.geometry]\nsource_to_detector_mm = 3", "source_to_board_mm: expected a distance"},
             {"[picture.geometry]\nsource_to_board_mm = 9\nsource_to_detector_mm = 8",
              "expected a detector not nearer to the source than the board, got 8"},
         }) {
        CAPTURE(row.text);
        const std::string said = error_of(picture + row.text + "\n");
        CHECK_MESSAGE(said.find(row.says) != std::string::npos, said);
    }
    CHECK(error_of(picture + "kv = -5\n").find("[picture] kv: expected a tube voltage") != std::string::npos);
    CHECK(error_of(picture + "cycles = 1.5\n").find("cycles: expected a whole number") != std::string::npos);
    CHECK(error_of(picture + "voxel_mm = [1, 2]\n").find("one or three [x, y, z]") != std::string::npos);
}

TEST_CASE("names that are not ASCII, of files too, are as good as others") {
    const FileOnDisk on_disk(
        "Gehäuse.toml",
        "[[picture]]\nfile = \"Röntgen/板.tif\"\n[[hole]]\nat_px=[1,2]\nname=\"отверстие\"\n");
    const CaseFile read = read_case(on_disk.path());
    CHECK(read.pictures[0].file == on_disk.folder() / "Röntgen/板.tif");
    CHECK(read.holes[0].hole.name == "отверстие");
}

TEST_CASE("unknown keys are named with their line and ignored") {
    const CaseOnDisk on_disk(
        "colour = \"blue\"\n[board]\nnmae = \"x\"\n[[picture]]\nfile = \"a.tif\"\npixle_mm = 2\n"
        "[picture.geometry]\nheight = 3\nsource_to_board_mm = 200\n");
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
    CHECK(read.unknown_keys.starts_with("; unknown key "));
    CHECK(read.unknown_keys.find("[picture] pixle_mm in line 6") != std::string::npos);
}

TEST_CASE("a case that fails still names its unknown keys: a slip there is often why") {
    CHECK(
        error_of("[[picture]]\nfiel = \"a.tif\"\n[rule]\nkind = \"dc\"\n") ==
        "board.toml, line 1: key [picture] file: expected the picture's file name, got nothing; unknown key "
        "[picture] fiel in line 2, [rule] kind in line 4");
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
    CHECK(error_of(std::string("\0\xff\xfe", 3)).find("expected text in UTF-8") != std::string::npos);
}

TEST_CASE("a decimal comma and another encoding are called what they are") {
    const std::string picture = "[[picture]]\nfile = \"a.tif\"\n";
    for (const char* value : {"0,025", "24,5", "-1,5e3", "1,234"})
        CHECK(error_of(picture + "pixel_mm = " + value + " # mm\n") ==
              "board.toml, line 3: expected a number with a decimal point, got " + std::string(value));
    for (const char* other : {"= 3", "pixel_mm = ,5", "pixel_mm = 5,", "pixel_mm = 5 5"})
        CHECK(error_of(picture + other + "\n").find("line 3: no TOML: ") != std::string::npos);
    CHECK(error_of(picture + "taken_by = \"J\xf6rg\"\n") ==
          "board.toml, line 3: expected text in UTF-8 (save it as UTF-8), got other bytes");
    const std::string utf16 = "board.toml, line 1: expected text in UTF-8 (save it as UTF-8), got UTF-16";
    CHECK(error_of(std::string("\xff\xfe[\0b\0", 6)) == utf16);
    CHECK(error_of(std::string("\xfe\xff\0[\0b", 6)) == utf16);
    CHECK(error_of(std::string("[\0b\0", 4)) == utf16);
    CHECK(error_of("\xef\xbb\xbf" + picture) == "accepted");
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
          "board.toml, line 2: key [board] foil_um: expected a foil of 2 to 500 µm (in micrometres, not "
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

TEST_CASE("half a rule is read: the command line may give the other half") {
    const CaseOnDisk on_disk("[[picture]]\nfile = \"a.tif\"\n[rule]\nvoltage_peak_v = 24\n");
    CHECK(read_case(on_disk.path()).rule == SpacingRule{24, VoltageKind::unknown, "", std::nullopt});
}

TEST_CASE("a case that is not there, or a folder") {
    CHECK_THROWS_WITH_AS((void)read_case("/nowhere/case.toml"), "/nowhere/case.toml: no such file", Error);
    CHECK_THROWS_AS((void)read_case(std::filesystem::temp_directory_path()), Error);
}

TEST_CASE("a scale from a hole's bore") {
    const std::string start = "[[picture]]\nfile = \"a.tif\"\n[[scale]]\nhole = \"H1\"\n";
    const CaseOnDisk on_disk(start + "mm = 3.2\nu_mm = 0.005\nwith = \"pin gauge\"\n");
    const CaseFile read = read_case(on_disk.path());
    REQUIRE(read.scales.size() == 1);
    CHECK(read.warnings.empty());
    CHECK(read.scales[0].hole == "H1");
    CHECK(read.scales[0].mm == 3.2);
    CHECK(read.scales[0].u_mm == 0.005);
    CHECK(error_of(start + "mm = 3.2\nfrom_px = [1, 2]\n").find("two points or a hole, not both") !=
          std::string::npos);
    CHECK(error_of(start).find("key [scale] mm: expected a length over 0 mm") != std::string::npos);
}
