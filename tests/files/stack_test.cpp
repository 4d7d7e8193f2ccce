// SPDX-License-Identifier: Apache-2.0
// Stacks in one TIFF file: every order, kind and packing; counts that must agree; files cut short.
#include "files/stacks.hpp"

#include <array>
#include <limits>
#include <thread>

using namespace ringwall;
using namespace ringwall::test;

namespace {

const std::string in_mm = "images=12\nslices=12\nunit=mm\nspacing=0.025\nloop=false\n";

} // namespace

TEST_CASE("TIFF stacks of every order and kind of number read back, in strips and tiles, packed and plain") {
    const Scratch scratch;
    for (const char* mode : {"wl", "wb", "wl8", "wb8"})
        for (const StackKind& numbers :
             {StackKind{8}, StackKind{16}, StackKind{16, false, true}, StackKind{32}, StackKind{32, true},
              StackKind{64, true}, StackKind{8, false, true}})
            for (const int tile : {0, 16})
                for (const int compression : {COMPRESSION_NONE, COMPRESSION_ADOBE_DEFLATE}) {
                    CAPTURE(mode);
                    CAPTURE(numbers.bits);
                    CAPTURE(tile);
                    CAPTURE(compression);
                    check_stack(write_tiff_stack(scratch / "a.tif", {mode, numbers, compression, tile}),
                                numbers);
                }
    for (const int rows : {1, 2, stack_height})
        check_stack(write_tiff_stack(scratch / "a.tif", {.rows_per_strip = rows}));
    check_stack(write_tiff_stack(scratch / "a.tif", {.compression = COMPRESSION_LZW}));
}

TEST_CASE("both polarities of a stack are said, the values stay as stored") {
    const Scratch scratch;
    for (const int photometric : {PHOTOMETRIC_MINISBLACK, PHOTOMETRIC_MINISWHITE}) {
        const SliceStack stack =
            open_stack(write_tiff_stack(scratch / "a.tif", {.photometric = photometric}));
        check_stack(stack);
        CHECK(stack.facts().source.inverted_scale == (photometric == PHOTOMETRIC_MINISWHITE));
        CHECK(stack.facts().source.full_scale == 65535);
        CHECK(stack.facts().source.format == "TIFF");
    }
}

TEST_CASE("one directory with the further slices behind it, in both byte orders") {
    const Scratch scratch;
    for (const bool big_endian : {false, true})
        for (const bool at_end : {false, true}) {
            SingleDirectory form;
            form.big_endian = big_endian;
            form.directory_at_end = at_end;
            put_text(scratch / "a.tif", form.bytes());
            check_stack(scratch / "a.tif");
        }
    SingleDirectory form;
    form.beyond = 20;
    put_text(scratch / "a.tif", form.bytes());
    const SliceStack stack = open_stack(scratch / "a.tif");
    check_stack(stack);
    CHECK(noted(stack, "20 bytes behind the last slice"));
}

TEST_CASE("a stack over 4 GB in one directory is read to its last slice") {
    const Scratch scratch;
    SingleDirectory form;
    form.counted = 24'000'000; // of 182 bytes; a file with a hole takes no room on the disk
    form.held = 1;
    put_text(scratch / "a.tif", form.bytes());
    const std::uintmax_t first = form.bytes().size() - StackKind().slice(0).size();
    const std::uintmax_t last = first + 182 * static_cast<std::uintmax_t>(form.counted - 1);
    REQUIRE(last > std::uintmax_t{4} << 30);
    {
        std::fstream file(scratch / "a.tif", std::ios::binary | std::ios::in | std::ios::out);
        file.seekp(static_cast<std::streamoff>(last));
        file << StackKind().slice(7);
    }
    const SliceStack stack = open_stack(scratch / "a.tif");
    REQUIRE(stack.slices() == form.counted);
    Image<float> slice(stack_width, stack_height);
    stack.read_slice(form.counted - 1, slice.view());
    CHECK(slice(12, 6) == static_cast<float>(voxel(12, 6, 7)));
    CHECK(slice(0, 0) == static_cast<float>(voxel(0, 0, 7)));
    stack.read_slice(0, slice.view());
    CHECK(slice(3, 2) == static_cast<float>(voxel(3, 2, 0)));
    std::filesystem::resize_file(scratch / "a.tif", last);
    CHECK(has(stack_refusal(scratch / "a.tif"), "its length holds 23999999"));
}

TEST_CASE("the counts of slices must agree") {
    const Scratch scratch;
    SingleDirectory form;
    for (const int held : {1, stack_slices - 1, stack_slices + 1}) {
        form.held = held;
        put_text(scratch / "a.tif", form.bytes());
        CHECK(has(stack_refusal(scratch / "a.tif"),
                  "its description counts 12 slices, its length holds " + std::to_string(held)));
    }
    write_tiff_stack(scratch / "b.tif", {.description = in_mm}, stack_slices - 2);
    CHECK(has(stack_refusal(scratch / "b.tif"), "its description counts 12 slices, it holds 10"));
    write_tiff_stack(scratch / "c.tif", {.description = "images=12\nchannels=2\nslices=6\n"});
    CHECK(has(stack_refusal(scratch / "c.tif"), "several volumes by its description: channels=2 slices=6"));
    for (const char* only :
         {"images=12\nframes=12\n", "images=12\nchannels=12\nslices=1\n"}) // one axis, misnamed
        check_stack(write_tiff_stack(scratch / "d.tif", {.description = only}));
}

TEST_CASE("the voxel size of a TIFF stack is taken only where all three directions are certain") {
    const Scratch scratch;
    const auto opened = [&](const std::string& description, double per_unit, int unit) {
        return open_stack(write_tiff_stack(scratch / "a.tif",
                                           {.description = description, .per_unit = per_unit, .unit = unit}));
    };
    const SliceStack whole = opened(in_mm, 40, RESUNIT_NONE);
    REQUIRE(whole.facts().voxel.has_value());
    for (const double mm : whole.facts().voxel->voxel_mm)
        CHECK(mm == doctest::Approx(0.025));
    CHECK(has(whole.facts().voxel->from, "spacing=0.025 unit=mm"));
    CHECK(has(whole.facts().voxel->from, "TIFF resolution"));

    const SliceStack oblong = opened("images=12\nunit=micron\nspacing=50.0\n", 400, RESUNIT_CENTIMETER);
    REQUIRE(oblong.facts().voxel.has_value());
    CHECK(oblong.facts().voxel->voxel_mm[0] == doctest::Approx(0.025));
    CHECK(oblong.facts().voxel->voxel_mm[2] == doctest::Approx(0.05));
    CHECK(noted(oblong, "not cubic"));
    CHECK(opened("images=12\nunit=\\u00B5m\nspacing=25\n", 0.04, RESUNIT_NONE).facts().voxel.has_value());

    CHECK(noted(opened("", 400, RESUNIT_CENTIMETER), "the distance of the slices is not stated"));
    CHECK(noted(opened(in_mm, 0, RESUNIT_NONE), "only the distance of the slices is stated"));
    CHECK(noted(opened(in_mm, 72, RESUNIT_INCH), "usual value of screens"));
    CHECK(noted(opened("images=12\nspacing=0.025\n", 400, RESUNIT_CENTIMETER), "no unit of length"));
    CHECK(noted(opened("images=12\nunit=pixel\nspacing=0.025\n", 40, RESUNIT_NONE), "no unit of length"));
    CHECK(noted(opened("images=12\nunit=mm\nspacing=25\n", 400, RESUNIT_CENTIMETER), "1 to 500 um apart"));
    CHECK(noted(opened("", 0, RESUNIT_NONE), "the files state no voxel size"));
}

TEST_CASE("pages of another size or kind are named, reduced copies are passed over") {
    const Scratch scratch;
    const auto with_odd_page = [&](TiffStackKind odd, int height, int subfile) {
        {
            const std::unique_ptr<TIFF, void (*)(TIFF*)> tiff(TIFFOpen((scratch / "a.tif").c_str(), "w"),
                                                              TIFFClose);
            write_tiff_page(tiff.get(), {}, 0);
            write_tiff_page(tiff.get(), {}, 1);
            if (subfile != 0) TIFFSetField(tiff.get(), TIFFTAG_SUBFILETYPE, subfile);
            write_tiff_page(tiff.get(), odd, 2, height);
            write_tiff_page(tiff.get(), {}, subfile != 0 ? 2 : 3);
        }
        return scratch / "a.tif";
    };
    CHECK(has(stack_refusal(with_odd_page({}, stack_height - 1, 0)),
              "slice 3 of 4 has 13 x 6 pixels, expected 13 x 7 as in slice 1"));
    CHECK(
        has(stack_refusal(with_odd_page({.numbers = {8}}, stack_height, 0)), "slice 3 of 4 has other grey"));
    CHECK(has(stack_refusal(with_odd_page({.photometric = PHOTOMETRIC_MINISWHITE}, stack_height, 0)),
              "slice 3 of 4 has other grey"));
    check_stack(with_odd_page({}, stack_height - 2, FILETYPE_REDUCEDIMAGE), {}, 3);
}

TEST_CASE("a single picture is no stack: wrong usage") {
    const Scratch scratch;
    write_tiff_stack(scratch / "a.tif", {}, 1);
    CHECK(has(stack_refusal(scratch / "a.tif", Fault::usage), "is a single picture"));
    write_png16(scratch / "a.png", all_different(5, 4).view());
    CHECK(has(stack_refusal(scratch / "a.png", Fault::usage), "is a single picture"));
}

TEST_CASE("a TIFF stack cut short anywhere is refused from its headers, or where it ends") {
    const Scratch scratch;
    for (const int compression : {COMPRESSION_NONE, COMPRESSION_LZW}) {
        const auto whole = bytes_of(write_tiff_stack(scratch / "a.tif", {.compression = compression}));
        for (std::size_t size = 1; size < whole.size(); size += 11) {
            CAPTURE(size);
            put_bytes(scratch / "cut.tif",
                      {whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(size)});
            CHECK(refused_at_opening(scratch / "cut.tif"));
        }
    }
    const std::string single = SingleDirectory().bytes();
    for (std::size_t size = 1; size < single.size(); size += 11) {
        put_text(scratch / "cut.tif", single.substr(0, size));
        CHECK(refused_at_opening(scratch / "cut.tif"));
    }
}

TEST_CASE("missing, empty and foreign sources are refused in one line") {
    const Scratch scratch;
    CHECK(has(stack_refusal(scratch / "none"), "cannot be opened"));
    put_text(scratch / "empty.tif", "");
    CHECK(has(stack_refusal(scratch / "empty.tif"), "is empty"));
    put_text(scratch / "text.tif", "nothing of the kind");
    CHECK(has(stack_refusal(scratch / "text.tif"), "is no picture of a known kind"));
    LoadLimits little;
    little.memory_bytes = 700; // a slice takes 364 bytes as floats and its row up to 416 beside them
    put_text(scratch / "a.mha", "ObjectType = Image\nNDims = 3\nDimSize = 13 7 12\nElementType = "
                                "MET_USHORT\nElementDataFile = LOCAL\n" +
                                    StackKind().all());
    CHECK(has(stack_refusal(scratch / "a.mha", Fault::input, little), "over the memory limit"));
    little.memory_bytes = 800;
    CHECK(stack_refusal(scratch / "a.mha", Fault::input, little) == "");
}

TEST_CASE("voxels that are no numbers are refused with their slice") {
    const Scratch scratch;
    std::string pixels = StackKind{32, true}.all(3);
    const float none = std::numeric_limits<float>::quiet_NaN();
    std::memcpy(pixels.data() + 2 * StackKind{32, true}.slice(0).size() + 40, &none, sizeof none);
    put_text(scratch / "a.mha", "ObjectType = Image\nNDims = 3\nDimSize = 13 7 3\nElementType = "
                                "MET_FLOAT\nElementDataFile = LOCAL\n" +
                                    pixels);
    CHECK(has(stack_refusal(scratch / "a.mha"), "slice 3 of 3 holds pixels that are not finite"));
}

TEST_CASE("two threads that read in opposite order get the same data") {
    const Scratch scratch;
    for (const int compression : {COMPRESSION_NONE, COMPRESSION_ADOBE_DEFLATE}) {
        const SliceStack stack =
            open_stack(write_tiff_stack(scratch / "a.tif", {.mode = "wb", .compression = compression}));
        std::array<int, 2> wrong{};
        const auto read = [&](std::size_t thread) {
            for (int pass = 0; pass < 20; ++pass)
                for (int i = 0; i < stack_slices; ++i)
                    wrong[thread] += wrong_voxels(stack, {}, thread == 0 ? i : stack_slices - 1 - i);
        };
        std::thread other(read, 1);
        read(0);
        other.join();
        CHECK(wrong[0] == 0);
        CHECK(wrong[1] == 0);
    }
}
