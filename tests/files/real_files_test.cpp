// SPDX-License-Identifier: Apache-2.0
#include "files/real_data.hpp"
#include "files/scratch.hpp"

#include <cmath>
#include <map>
#include <sstream>

using namespace ringwall;
using namespace ringwall::test;

namespace {

std::vector<std::string> cells_of(const std::string& line) {
    std::vector<std::string> cells;
    std::istringstream in(line);
    for (std::string cell; std::getline(in, cell, ';');)
        cells.push_back(cell);
    cells.resize(12);
    return cells;
}

std::vector<std::vector<std::string>> table() {
    std::ifstream in(std::filesystem::path(__FILE__).parent_path() / "real_files.csv");
    std::vector<std::vector<std::string>> rows;
    for (std::string line; std::getline(in, line);)
        if (!line.empty() && line[0] != '#' && line.rfind("file;", 0) != 0) rows.push_back(cells_of(line));
    return rows;
}

double sum_of(const Image<float>& picture) {
    double sum = 0;
    for (std::size_t i = 0; i < picture.size(); ++i)
        sum += static_cast<double>(picture.data()[i]);
    return sum;
}

std::string flags_of(const SourceFacts& facts) {
    return std::string(facts.is_float ? "f" : "") + (facts.lossy ? "l" : "") + (facts.colour ? "c" : "") +
           (facts.inverted_scale ? "i" : "");
}

void check_read(const std::filesystem::path& file, const std::vector<std::string>& row) {
    const Radiograph radiograph = load_radiograph(file);
    const SourceFacts& facts = radiograph.facts;
    CHECK(facts.format == row[2]);
    CHECK(std::to_string(facts.width_px) == row[3]);
    CHECK(std::to_string(facts.height_px) == row[4]);
    CHECK(std::to_string(facts.bits) == row[5]);
    CHECK(flags_of(facts) == row[6]);
    CHECK(std::to_string(static_cast<int>(facts.radiometry)) == row[7]);
    CHECK(facts.scale.has_value() == !row[8].empty());
    if (facts.scale && !row[8].empty()) {
        CHECK(facts.scale->pixel_xy_mm[0] == doctest::Approx(std::stod(row[8])).epsilon(1e-6));
        CHECK(facts.scale->pixel_xy_mm[1] == doctest::Approx(std::stod(row[9])).epsilon(1e-6));
    }
    // Floats hold 24 bits: one part in 1.7e7 a pixel, and luma is worked out in floats.
    if (!row[10].empty())
        CHECK(sum_of(radiograph.values) == doctest::Approx(std::stod(row[10])).epsilon(2e-7));
    CHECK(describe_file(file).sha256 == facts.sha256);
}

} // namespace

TEST_CASE("real files are read as other decoders read them, or refused for the right reason") {
    const auto place = real_data();
    if (place.empty()) {
        MESSAGE("skipped: no real files on this machine (RINGWALL_REAL_DATA names their folder)");
        return;
    }
    const auto rows = table();
    REQUIRE(rows.size() > 300);
    for (const auto& row : rows) {
        CAPTURE(row[0]);
        const auto file = place / row[0];
        if (row[1] == "refused")
            CHECK(has(refusal(file), row[2]));
        else
            CHECK_NOTHROW(check_read(file, row));
    }
}

TEST_CASE("files that once brought other readers down are refused") {
    const auto place = real_data();
    if (place.empty()) {
        MESSAGE("skipped: no real files on this machine (RINGWALL_REAL_DATA names their folder)");
        return;
    }
    const auto folder = place / "loader_tiff_image-tiff/tests/fuzz_images";
    int files = 0;
    for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
        if (!entry.is_regular_file()) continue;
        CAPTURE(entry.path().string());
        ++files;
        // The one that is only a harmless tag away from a whole file: its sum is near that of
        // rgb-3c-16b.tiff.
        const bool whole = has(entry.path().filename().string(), "id=000026,sig=06,src=000012");
        CHECK(refusal(entry.path()).empty() == whole);
    }
    CHECK(files > 100);
}

TEST_CASE("pages of real stacks are counted") {
    const auto place = real_data();
    if (place.empty()) {
        MESSAGE("skipped: no real files on this machine (RINGWALL_REAL_DATA names their folder)");
        return;
    }
    // Counts: file names, the readers named in real_files.csv, and loader notes of the files' own projects.
    const std::map<std::string, int> pages = {
        {"loader_tiff_image-tiff/tests/images/seq/seq-1c-8b-multipage-adeefdcc.tiff", 3},
        {"loader_dicom_pydicom/emri_small.dcm", 10},
        {"loader_dicom_pydicom/rtdose.dcm", 15},
        {"loader_nrrd_meta/CIL-Data/head.mha", 93},
        {"loader_nrrd_meta/nrrd/tests/data/BallBinary30x30x30_gz.nrrd", 30}};
    for (const auto& [file, count] : pages) {
        CAPTURE(file);
        CHECK(describe_file(place / file).pages == count);
    }
}
