// SPDX-License-Identifier: Apache-2.0
// Folders of slices: order, numbering, sizes, what else lies there; and the hash of a stack.
#include "files/stacks.hpp"

#include <chrono>

using namespace ringwall;
using namespace ringwall::test;

namespace {

std::filesystem::path folder(const Scratch& scratch, const std::string& name) {
    std::filesystem::remove_all(scratch / name);
    std::filesystem::create_directories(scratch / name);
    return scratch / name;
}

void write_slice(const std::filesystem::path& file, int z, const TiffStackKind& kind = {},
                 int height = stack_height) {
    const std::unique_ptr<TIFF, void (*)(TIFF*)> tiff(TIFFOpen(file.c_str(), kind.mode), TIFFClose);
    REQUIRE(tiff);
    write_tiff_page(tiff.get(), kind, z, height);
}

/// The stack as slice1.tif, slice2.tif ... slice12.tif: the order of names is not that of slices.
std::filesystem::path written(const Scratch& scratch, const TiffStackKind& kind = {}) {
    const auto place = folder(scratch, "slices");
    for (int z = 0; z < stack_slices; ++z)
        write_slice(place / ("slice" + std::to_string(z + 1) + ".tif"), z, kind);
    return place;
}

std::vector<unsigned char> joined(const std::vector<std::filesystem::path>& files) {
    std::vector<unsigned char> all;
    for (const auto& file : files) {
        const auto bytes = bytes_of(file);
        all.insert(all.end(), bytes.begin(), bytes.end());
    }
    return all;
}

/// Says stop after some calls, and remembers how far things were.
class Stopping : public Watch {
  public:
    explicit Stopping(int calls) : calls_(calls) {}
    void progress(std::string_view, int done, int) override { last = done; }
    bool cancelled() override { return calls_-- <= 0; }
    int last = 0;

  private:
    int calls_;
};

} // namespace

TEST_CASE("a folder of slices is read in natural order, whatever its files' packing") {
    const Scratch scratch;
    check_stack(written(scratch));
    check_stack(written(scratch, {.mode = "wb"}));
    check_stack(written(scratch, {.mode = "wb8", .compression = COMPRESSION_LZW}));
    check_stack(written(scratch, {.numbers = {32, true}}), {32, true});
    check_stack(written(scratch, {.numbers = {8}, .tile = 16}), {8});
    const auto place = folder(scratch, "png");
    for (int z = 0; z < stack_slices; ++z) {
        Image<std::uint16_t> slice(stack_width, stack_height);
        for (int y = 0; y < stack_height; ++y)
            for (int x = 0; x < stack_width; ++x)
                slice(x, y) = static_cast<std::uint16_t>(voxel(x, y, z));
        write_png16(place / ("b-" + std::to_string(z) + ".png"), slice.view());
    }
    check_stack(place);
    const auto bare = folder(scratch, "bare"); // numbers where an ending would stand
    for (int z = 0; z < stack_slices; ++z)
        write_slice(bare / ("scan2." + std::to_string(z)), z);
    check_stack(bare);
}

TEST_CASE("a slice that is missing or there twice is named") {
    const Scratch scratch;
    auto place = written(scratch);
    std::filesystem::remove(place / "slice7.tif");
    CHECK(has(stack_refusal(place), "slice 7 is missing between slice6.tif and slice8.tif"));
    std::filesystem::remove(place / "slice8.tif");
    CHECK(has(stack_refusal(place), "slices 7 to 8 are missing between slice6.tif and slice9.tif"));
    place = written(scratch);
    write_slice(place / "slice007.tif", 6);
    CHECK(has(stack_refusal(place), "holds slice 7 twice: slice007.tif and slice7.tif"));
    place = written(scratch);
    write_slice(place / "slice7.tiff", 6);
    CHECK(has(stack_refusal(place), "holds slice 7 twice"));
    place = folder(scratch, "padded");
    for (const int z : {121, 122, 124, 125})
        write_slice(place / ("a_0" + std::to_string(z) + ".tif"), 0);
    CHECK(has(stack_refusal(place), "slice 0123 is missing between a_0122.tif and a_0124.tif"));
}

TEST_CASE("numbers in even steps are taken, and said") {
    const Scratch scratch;
    const auto place = folder(scratch, "steps");
    for (int z = 0; z < stack_slices; ++z)
        write_slice(place / ("a" + std::to_string(10 * z) + ".tif"), z);
    const SliceStack stack = open_stack(place);
    check_stack(stack);
    CHECK(noted(stack, "steps of 10"));
}

TEST_CASE("slices of two scans are refused with the names of both") {
    const Scratch scratch;
    auto place = written(scratch);
    write_slice(place / "other13.tif", 0);
    CHECK(has(stack_refusal(place), "holds slices of two names: slice1.tif and other13.tif"));
    place = folder(scratch, "two");
    for (int z = 0; z < 3; ++z) {
        write_slice(place / ("scan1_" + std::to_string(z) + ".tif"), z);
        write_slice(place / ("scan2_" + std::to_string(z) + ".tif"), z);
    }
    CHECK(has(stack_refusal(place), "holds slices of two scans: scan1_0.tif and scan2_0.tif"));
    place = written(scratch);
    write_slice(place / "slice13.tif", 0, {}, stack_height - 1);
    CHECK(has(stack_refusal(place), "two sizes: slice1.tif has 13 x 7 pixels, slice13.tif 13 x 6"));
    write_slice(place / "slice13.tif", 0, {.numbers = {8}});
    CHECK(has(stack_refusal(place), "two kinds: slice1.tif has 16 bits, slice13.tif 8 bits"));
    write_slice(place / "slice13.tif", 0, {.numbers = {16, false, true}});
    CHECK(has(stack_refusal(place), "slice13.tif 16 bits, signed"));
    write_slice(place / "slice13.tif", 0, {.photometric = PHOTOMETRIC_MINISWHITE});
    CHECK(has(stack_refusal(place), "minimum is white"));
    std::filesystem::remove(place / "slice13.tif");
    write_png16(place / "slice13.png", all_different(stack_width, stack_height).view());
    CHECK(has(stack_refusal(place), "two kinds: slice1.tif and slice13.png"));
    place = written(scratch, {.per_unit = 400});
    write_slice(place / "slice13.tif", 0, {.per_unit = 500});
    CHECK(has(stack_refusal(place), "two scales: slice1.tif states TIFF resolution, 400 per cm"));
}

TEST_CASE("what is no slice is left out and said; a damaged slice is not") {
    const Scratch scratch;
    const auto place = written(scratch);
    put_text(place / "scan.log", "kV 90");
    put_text(place / "Thumbs.db", "thumbs");
    put_text(place / ".hidden", "");
    put_text(place / "empty.txt", "");
    write_png16(place / "preview.png", all_different(5, 4).view());
    std::filesystem::create_directories(place / "sub7");
    const SliceStack stack = open_stack(place);
    check_stack(stack);
    CHECK(noted(stack, "4 files that are no slice left out: Thumbs.db, empty.txt, scan.log, ..."));
    put_text(place / "slice13.tif", "no longer a picture");
    CHECK(has(stack_refusal(place), "slice13.tif: is no picture of a known kind"));
    put_text(place / "slice13.tif", "");
    CHECK(has(stack_refusal(place), "slice13.tif: is empty"));
    const auto whole = bytes_of(place / "slice3.tif");
    put_bytes(place / "slice13.tif", {whole.begin(), whole.begin() + 60});
    CHECK(has(stack_refusal(place), "slice13.tif: is "));
    write_tiff_stack(place / "slice13.tif", {}, 2);
    CHECK(has(stack_refusal(place), "slice13.tif: holds 2 pages"));
}

TEST_CASE("folders that hold no stack say what was expected") {
    const Scratch scratch;
    auto place = folder(scratch, "empty");
    CHECK(has(stack_refusal(place), "holds no slices, expected TIFF"));
    write_slice(place / "a1.tif", 0);
    CHECK(has(stack_refusal(place), "holds one picture, a1.tif"));
    put_text(place / "volume.mhd", "ObjectType = Image\nNDims = 3\n");
    CHECK(has(stack_refusal(place), "name volume.mhd itself"));
}

TEST_CASE("x and y of a folder come from its first slice; the distance of slices only where it is stated") {
    const Scratch scratch;
    const SliceStack flat = open_stack(written(scratch, {.per_unit = 400}));
    CHECK_FALSE(flat.facts().voxel.has_value());
    CHECK(noted(flat, "the distance of the slices is not stated, only 0.025 x 0.025 mm"));
    const auto place = folder(scratch, "described");
    for (int z = 0; z < 3; ++z)
        write_slice(place / ("a" + std::to_string(z) + ".tif"), 0,
                    {.description = "spacing=0.03\nunit=mm\n", .per_unit = 40, .unit = RESUNIT_NONE});
    const SliceStack whole = open_stack(place);
    REQUIRE(whole.facts().voxel.has_value());
    CHECK(whole.facts().voxel->voxel_mm[0] == doctest::Approx(0.025));
    CHECK(whole.facts().voxel->voxel_mm[2] == doctest::Approx(0.03));
}

TEST_CASE("a slice that changes after opening is refused when it is read") {
    const Scratch scratch;
    const auto place = written(scratch);
    const SliceStack stack = open_stack(place);
    Image<float> slice(stack_width, stack_height);
    const auto file = place / "slice4.tif";
    std::filesystem::last_write_time(file, std::filesystem::last_write_time(file) + std::chrono::seconds(3));
    CHECK_THROWS_WITH_AS(stack.read_slice(3, slice.view()), doctest::Contains("has changed"), Error);
    std::filesystem::remove(file);
    CHECK_THROWS_WITH_AS(stack.read_slice(3, slice.view()), doctest::Contains("slice4.tif"), Error);
    CHECK_NOTHROW(stack.read_slice(4, slice.view()));
}

TEST_CASE("the hash of a stack is that of its files' bytes in slice order, and can be stopped") {
    const Scratch scratch;
    const auto place = written(scratch);
    std::vector<std::filesystem::path> files;
    for (int z = 0; z < stack_slices; ++z)
        files.push_back(place / ("slice" + std::to_string(z + 1) + ".tif"));
    const auto all = joined(files);
    Watch watch;
    CHECK(open_stack(place).sha256(watch) == sha256_hex(all.data(), all.size()));
    const auto one = bytes_of(write_tiff_stack(scratch / "a.tif"));
    CHECK(open_stack(scratch / "a.tif").sha256(watch) == sha256_hex(one.data(), one.size()));
    Stopping stopping(5);
    CHECK_THROWS_AS(open_stack(place).sha256(stopping), Cancelled);
    put_text(scratch / "big.raw", std::string(std::size_t{5} << 20, 'a'));
    put_text(scratch / "big.mhd", "ObjectType = Image\nNDims = 3\nDimSize = 1024 1024 5\nElementType = "
                                  "MET_UCHAR\nElementDataFile = big.raw\n");
    const auto both = joined({scratch / "big.mhd", scratch / "big.raw"});
    Stopping told(1000);
    CHECK(open_stack(scratch / "big.mhd").sha256(told) == sha256_hex(both.data(), both.size()));
    CHECK(told.last == 5);
}
