// SPDX-License-Identifier: Apache-2.0
#include "ringwall/edge_phantom.hpp"
#include "ringwall/error.hpp"
#include "ringwall/files.hpp"
#include "ringwall/phantom.hpp"

#include <array>
#include <fstream>
#include <locale>
#include <sstream>

namespace ringwall::phantom {
namespace {

namespace fs = std::filesystem;

constexpr const char* invented = "Synthetic. Invented by the program: no such board, maker or person exists.";

[[noreturn]] void refuse(const fs::path& place, const std::string& what) {
    throw Error(Fault::input, "demo: " + place.string() + ": " + what);
}

void make_folder(const fs::path& folder) {
    std::error_code failed;
    if (fs::exists(folder, failed) && !fs::is_directory(folder, failed))
        refuse(folder, "expected a folder, got a file");
    if (fs::is_directory(folder, failed) && !fs::is_empty(folder, failed))
        refuse(folder, "expected a new or empty folder, got one that holds something");
    fs::create_directories(folder, failed);
    if (failed) refuse(folder, "cannot be made: " + failed.message());
}

void write_text(const fs::path& file, const std::string& text) {
    std::ofstream out(file, std::ios::binary);
    out << text;
    out.close();
    if (!out) refuse(file, "cannot be written");
}

std::string two_digits(double mm) {
    std::ostringstream text;
    text.imbue(std::locale::classic());
    text.setf(std::ios::fixed);
    text.precision(2);
    text << mm;
    return text.str();
}

/// Lengths measured by hand, and the way of the unit from hand to hand.
std::string evidence_text(const Board& board) {
    std::ostringstream text;
    text.imbue(std::locale::classic());
    text << "\n[[measured]]\nwhat = \"thickness\"\nvalue_mm = " << board.thickness_mm + 0.01
         << "\nu_mm = 0.01\nwith = \"micrometer\"\n"
            "\n[[measured]]\nwhat = \"bore\"\nwhere = \"top right\"\nvalue_mm = 3.30\nu_mm = 0.01\n"
            "with = \"pin gauge\"\n"
            "\n[[custody]]\nwhen = \"2026-03-02\"\nfrom = \"the owner of the drive\"\nto = \"inspector\"\n"
            "seal_before = \"none\"\nseal_after = \"bag 1\"\nphotographs = \"both faces, four corners\"\n";
    return text.str();
}

constexpr double edge_pixel_mm = 0.03, edge_distance_mm = 1500;

/// The board from its long side, without its parts: planes near each face in both revisions.
void write_edge_picture(const fs::path& file, Board board, char revision) {
    board.parts.clear();
    const double foil = board.layers.front().thickness_um / 1000, last = board.thickness_mm - foil;
    EdgeShot shot;
    shot.layer_tops_mm = revision == 'A' ? std::vector<double>{0, 0.30, last - 0.30, last}
                                         : std::vector<double>{0, 0.30, 0.66, last - 0.66, last - 0.30, last};
    shot.width_mm = 50, shot.height_mm = 5;
    shot.rotation_deg = revision == 'A' ? 0.7 : -0.4;
    shot.source_to_board_mm = edge_distance_mm;
    Exposure exposure;
    exposure.beam = tube_beam(150, 2);
    exposure.pixel_mm = edge_pixel_mm;
    exposure.photons = 8000;
    exposure.samples = 2; // enough for blurred lines along the board
    exposure.seed = revision == 'A' ? 71 : 72;
    write_tiff16(file, expose_drawn(draw_edge_on(board, shot, exposure).view(), exposure).view(),
                 edge_pixel_mm);
}

std::string edge_text() {
    std::ostringstream text;
    text.imbue(std::locale::classic());
    text << "\n[[picture]]\nfile = \"edge.tiff\"\nshot = \"edge\"\npixel_mm = " << edge_pixel_mm
         << "\nscale_u_percent = 0.2\ndense = \"dark\"\nradiometry = \"linear\"\n\n[picture.geometry]\n"
            "source_to_board_mm = "
         << edge_distance_mm << "\nboard_depth_mm = 44\n";
    return text.str();
}

std::string case_text(char revision, const Board& board, const Exposure& exposure) {
    const std::array<std::size_t, 4> lid = demo_lid_holes(board);
    const std::array<const char*, 4> names = {"top left", "top right", "bottom left", "bottom right"};
    std::ostringstream text;
    text.imbue(std::locale::classic());
    text << "# " << invented << "\n\n[board]\nname = \"Field pump controller\"\nrevision = \"" << revision
         << "\"\nunit = \"demo " << revision << "1\"\nserial = \"" << revision
         << "-0001\"\nchosen = \"invented\"\nthickness_mm = " << board.thickness_mm
         << "\nfoil_um = 32\n\n[[picture]]\nfile = \"face.tiff\"\nshot = \"face\"\npixel_mm = "
         << exposure.pixel_mm
         << "\nscale_u_percent = 0.2\ndense = \"dark\"\nradiometry = \"linear\"\ntaken_by = \"cabinet "
            "operator\"\ntaken_on = \"2026-03-03\"\n"
            "filter = \"none\"\nprocessing = \"none\"\n"
         << edge_text();
    for (std::size_t i = 0; i < lid.size(); ++i) {
        const Point at = board.drills[lid[i]].centre_mm;
        text << "\n[[hole]]\npicture = \"face.tiff\"\nat_mm = [" << two_digits(at.x) << ", "
             << two_digits(at.y) << "]\nname = \"" << names[i] << (i == 3 ? ", spare" : "")
             << "\"\npurpose = \"" << (i == 3 ? "spare" : "lid screw") << "\"\n"
             << (i == 3 ? "screw = \"none\"\n" : "");
    }
    text << "\n[screw]\nname = \"UNC6-32\"\n\n[rule]\nvoltage_peak_v = 24\nvoltage_kind = "
            "\"dc\"\nspacing_row = \"B1\"\n\n[continuity]\nfile = \"meter.csv\"\n"
         << evidence_text(board);
    return text.str();
}

/// What an inspector with an ohmmeter would have written down; revision B has its bottom left hole on ground.
std::string meter_text(char revision) {
    const std::string idle = "assembled and unpowered; cables, chassis and battery disconnected; ";
    const std::string bare =
        "\"" + idle + "no screw fitted\",both,0.2,hand meter,2026-01-12,2026-03-02,inspector,";
    const std::string fitted = "\"" + idle +
                               "screw fitted 0.4 Nm, pushed toward the board's corner\",both,0.2,hand "
                               "meter,2026-01-12,2026-03-05,inspector,";
    std::string text =
        "a,b,expect,reading,ohms,behaviour,setup,polarity,lead_ohms,meter,calibrated_on,when,by,"
        "note\n"
        "+24V,GND,open,open,48000,rising," +
        bare + "invented\n";
    if (revision == 'A') {
        text += "+24V,wall top left,open,joined,0.4,steady," + bare + "invented\n";
        text += "+24V,wall top right,open,open,,steady," + bare + "invented\n";
        text += "+24V,screw in top left,open,joined,0.3,steady," + fitted + "invented\n";
        text += "+24V,screw in top right,open,open,,steady," + fitted + "invented\n";
    } else {
        text += "GND,bottom left,joined,joined,0.3,steady," + bare + "invented\n";
        text += "+24V,bottom left,open,open,,steady," + bare + "invented\n";
        text += "+24V,screw in top left,open,open,,steady," + fitted + "invented\n";
        text += "+24V,screw in top right,open,open,,steady," + fitted + "invented\n";
    }
    return text;
}

const char* readme_text() {
    return "DEMO CASE: FIELD PUMP CONTROLLER\n\n"
           "Everything in this folder is synthetic and invented: the board, its maker, its fault and its "
           "repair, the\n"
           "pictures and the numbers. The pictures were computed from drawings, no X-rays were used.\n\n"
           "A small 24 V irrigation drive. On revision A (four copper layers, 1.6 mm) the lid screws, No. "
           "6-32, cut\n"
           "into bare 3.3 mm holes that sit off-centre in their copper-free rings. Revision B (six layers, "
           "1.8 mm) has\n"
           "one of these holes moved, one plated and stitched to ground, one left bare in a wider ring. The "
           "hole at the\n"
           "bottom right is a spare without a screw on both.\n\n"
           "  revision-a/case.toml   revision-b/case.toml   what is known of each board\n"
           "  revision-a/face.tiff   revision-b/face.tiff   face-on radiographs, 25 µm a pixel\n"
           "  revision-a/edge.tiff   revision-b/edge.tiff   edge-on, from the long side, parts taken off, 30 "
           "µm\n"
           "  revision-a/meter.csv   revision-b/meter.csv   what an ohmmeter read\n\n"
           "Measure each:  ringwall inspect revision-a/case.toml\n"
           "               ringwall inspect revision-b/case.toml\n";
}

void write_revision(const fs::path& folder, char revision) {
    make_folder(folder);
    // Nobody lays two boards down the same way.
    const Board board = revision == 'A' ? demo_board('A') : laid_down(demo_board('B'), 0.6, {0.35, -0.22});
    const Exposure exposure = demo_exposure(revision);
    write_tiff16(folder / "face.tiff", expose(board, exposure).view(), exposure.pixel_mm);
    write_edge_picture(folder / "edge.tiff", demo_board(revision), revision);
    write_text(folder / "case.toml", case_text(revision, board, exposure));
    write_text(folder / "meter.csv", meter_text(revision));
}

} // namespace

void write_demo(const fs::path& folder) {
    make_folder(folder);
    write_revision(folder / "revision-a", 'A');
    write_revision(folder / "revision-b", 'B');
    write_text(folder / "README.txt", readme_text());
}

} // namespace ringwall::phantom
