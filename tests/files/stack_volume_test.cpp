// SPDX-License-Identifier: Apache-2.0
// Raw volumes with a text header, and DICOM: order by position, distances, two series.
#include "files/dicom_maker.hpp"
#include "files/mutations.hpp"
#include "files/stacks.hpp"
#include "files/zipped.hpp"

#include <algorithm>
#include <array>
#include <map>

using namespace ringwall;
using namespace ringwall::test;

namespace {

std::string meta(const std::string& more, const std::string& type = "MET_USHORT",
                 const std::string& data = "LOCAL", const std::string& size = "13 7 12") {
    return "ObjectType = Image\nNDims = 3\nDimSize = " + size + "\nElementType = " + type + "\n" + more +
           "ElementDataFile = " + data + "\n";
}

std::string nrrd(const std::string& more, const std::string& type = "uint16",
                 const std::string& sizes = "13 7 12", int dimensions = 3) {
    return "NRRD0004\ntype: " + type + "\ndimension: " + std::to_string(dimensions) + "\nsizes: " + sizes +
           "\n" + more + "\n";
}

std::filesystem::path put(const Scratch& scratch, const std::string& bytes) {
    put_text(scratch / "a.any", bytes);
    return scratch / "a.any";
}

/// One slice of a series.
struct DicomSlice {
    DicomMaker::Order order = DicomMaker::Order::explicit_little;
    std::string series = "1.2.3.4", position, orientation, number, thickness, spacing = "0.02\\0.02", slope;
    unsigned stored = 16;
    [[nodiscard]] std::string file(int z) const {
        DicomMaker maker(order);
        if (!thickness.empty()) maker.text(0x18, 0x50, "DS", thickness);
        maker.text(0x20, 0x0E, "UI", series);
        if (!number.empty()) maker.text(0x20, 0x13, "IS", number);
        if (!position.empty()) maker.text(0x20, 0x32, "DS", position);
        if (!orientation.empty()) maker.text(0x20, 0x37, "DS", orientation);
        maker.picture(stack_width, stack_height, 16, stored).text(0x28, 0x30, "DS", spacing);
        if (!slope.empty()) maker.text(0x28, 0x1052, "DS", "-1000").text(0x28, 0x1053, "DS", slope);
        StackKind kind;
        kind.big_endian = order == DicomMaker::Order::explicit_big;
        return maker.raw(0x7FE0, 0x10, "OW", kind.slice(z)).file();
    }
};

/// A folder whose names run against the order of the positions; `change` alters slice z before it is written.
template<typename Change>
std::filesystem::path series(const Scratch& scratch, Change change) {
    const auto place = scratch / "series";
    std::filesystem::remove_all(place);
    std::filesystem::create_directories(place);
    for (int z = 0; z < stack_slices; ++z) {
        DicomSlice slice;
        slice.position = "1\\2\\" + std::to_string(3 * z - 5) + "e-2";
        slice.number = std::to_string(90 - z);
        change(slice, z);
        put_text(place / ("IM" + std::to_string(50 - z)), slice.file(z));
    }
    return place;
}

std::filesystem::path series(const Scratch& scratch) {
    return series(scratch, [](DicomSlice&, int) {});
}

} // namespace

TEST_CASE("raw volumes of both headers read back in every order and kind") {
    const Scratch scratch;
    for (const bool big : {false, true}) {
        StackKind kind{16, false, false, big};
        check_stack(put(scratch, meta(big ? "BinaryDataByteOrderMSB = True\n" : "") + kind.all()), kind);
        const std::string endian = big ? "endian: big\n" : "endian: little\n";
        check_stack(put(scratch, nrrd("encoding: raw\n" + endian) + kind.all()), kind);
        kind = {32, true, false, big};
        check_stack(put(scratch, nrrd("encoding: raw\n" + endian, "float") + kind.all()), kind);
        kind = {64, true, false, big};
        check_stack(put(scratch, nrrd("encoding: raw\n" + endian, "double") + kind.all()), kind);
        kind = {32, false, false, big};
        check_stack(put(scratch, nrrd("encoding: raw\n" + endian, "uint32") + kind.all()), kind);
    }
    check_stack(put(scratch, meta("", "MET_UCHAR") + StackKind{8}.all()), {8});
    check_stack(put(scratch, meta("", "MET_SHORT") + StackKind{16, false, true}.all()), {16, false, true});
    put_text(scratch / "data.raw", "head" + StackKind().all());
    check_stack(put(scratch, meta("HeaderSize = 4\n", "MET_USHORT", "data.raw")));
    check_stack(put(scratch, meta("HeaderSize = -1\n", "MET_USHORT", "data.raw")));
    check_stack(put(scratch, nrrd("encoding: raw\nendian: little\ndata file: data.raw\nbyte skip: 4\n")));
}

TEST_CASE("packed volumes are unpacked once when they fit, and refused by name when not") {
    const Scratch scratch;
    check_stack(put(scratch, nrrd("encoding: gzip\nendian: little\n") + zipped(StackKind().all(), true)));
    check_stack(put(scratch, meta("CompressedData = True\n") + zipped(StackKind().all(), true)));
    std::string text;
    for (int z = 0; z < stack_slices; ++z)
        for (int y = 0; y < stack_height; ++y)
            for (int x = 0; x < stack_width; ++x)
                text += std::to_string(voxel(x, y, z)) + " ";
    check_stack(put(scratch, nrrd("encoding: text\n") + text));
    const auto short_one =
        put(scratch, nrrd("encoding: gzip\nendian: little\n") + zipped(StackKind().all(5), true));
    CHECK(has(stack_refusal(short_one), "is cut off within slice 6 of 12"));
    LoadLimits little;
    little.memory_bytes = 8000;
    const auto packed =
        put(scratch, nrrd("encoding: gzip\nendian: little\n") + zipped(StackKind().all(), true));
    CHECK(has(stack_refusal(packed, Fault::input, little),
              "is compressed, which cannot be read slice by slice"));
    const auto plain = put(scratch, nrrd("encoding: raw\nendian: little\n") + StackKind().all());
    CHECK(stack_refusal(plain, Fault::input, little) == ""); // plain voxels need one slice
}

TEST_CASE("headers of volumes that are no plain stack are refused by name") {
    const Scratch scratch;
    const std::string raw = "encoding: raw\nendian: little\n";
    CHECK(has(stack_refusal(put(scratch, nrrd(raw, "uint16", "13 7 6 2", 4) + StackKind().all())),
              "more than three dimensions"));
    CHECK(has(stack_refusal(put(
                  scratch, nrrd(raw + "space dimension: 3\nspace directions: (1,0,0) (0.1,1,0) (0,0,1)\n") +
                               StackKind().all())),
              "not at right angles"));
    CHECK(has(stack_refusal(put(scratch, meta("", "MET_USHORT", "a%03d.raw 1 12 1"))), "several files"));
    CHECK(has(stack_refusal(put(scratch, meta("", "MET_USHORT", "none.raw"))), "none.raw: cannot be opened"));
    CHECK(has(stack_refusal(put(scratch, meta("", "MET_USHORT", "../a.raw"))),
              "expected a file in its own folder"));
    CHECK(has(stack_refusal(put(scratch, meta("") + StackKind().all(11))), "is cut off: its pixels take"));
    CHECK(has(stack_refusal(put(scratch, meta("", "MET_DOUBLE", "LOCAL", "30000 30000 1000000000") + "x")),
              "makes no sense"));
    CHECK(has(stack_refusal(put(scratch, meta("", "MET_USHORT", "LOCAL", "13 7 1") + StackKind().all(1)),
                            Fault::usage),
              "is a single picture"));
    CHECK(noted(open_stack(put(scratch, meta("") + StackKind().all() + "xyz")), "3 bytes behind"));
}

TEST_CASE("the voxel size of a volume needs its unit of length") {
    const Scratch scratch;
    const auto voxel_of = [&](const std::string& header) {
        return open_stack(put(scratch, header + StackKind().all())).facts().voxel;
    };
    const auto mm = voxel_of(meta("ElementSpacing = 0.02 0.02 0.03\nDistanceUnits = mm\n"));
    REQUIRE(mm.has_value());
    CHECK(mm->voxel_mm == std::array{0.02, 0.02, 0.03});
    CHECK(has(mm->from, "MetaImage spacing"));
    const auto um = voxel_of(meta("ElementSpacing = 20 20 30\nDistanceUnits = um\n"));
    REQUIRE(um.has_value());
    CHECK(um->voxel_mm[2] == doctest::Approx(0.03));
    const auto bare = open_stack(put(scratch, meta("ElementSpacing = 0.02 0.02 0.03\n") + StackKind().all()));
    CHECK_FALSE(bare.facts().voxel.has_value());
    CHECK(noted(bare, "0.02 x 0.02 x 0.03 ignored: no unit of length stated"));
    const std::string raw = "encoding: raw\nendian: little\n";
    const auto axes = voxel_of(nrrd(raw + "spacings: 0.02 0.02 0.03\nunits: \"mm\" \"mm\" \"mm\"\n"));
    REQUIRE(axes.has_value());
    CHECK(axes->voxel_mm[2] == doctest::Approx(0.03));
    const auto turned = voxel_of(nrrd(raw + "space dimension: 3\nspace units: \"um\" \"um\" \"um\"\nspace "
                                            "directions: (0,20,0) (-20,0,0) (0,0,30)\n"));
    REQUIRE(turned.has_value());
    CHECK(turned->voxel_mm[0] == doctest::Approx(0.02));
    CHECK(turned->voxel_mm[2] == doctest::Approx(0.03));
    CHECK_FALSE(voxel_of(nrrd(raw + "spacings: 0.02 0.02 0.03\n")).has_value());
    CHECK_FALSE(voxel_of(nrrd(raw + "spacings: 0.02 0.02 0\nunits: \"mm\" \"mm\" \"mm\"\n")).has_value());
}

TEST_CASE("a DICOM series is ordered by position and not by name, in every byte order") {
    const Scratch scratch;
    for (const auto order : {DicomMaker::Order::explicit_little, DicomMaker::Order::implicit_little,
                             DicomMaker::Order::explicit_big}) {
        const SliceStack stack =
            open_stack(series(scratch, [&](DicomSlice& slice, int) { slice.order = order; }));
        check_stack(stack);
        REQUIRE(stack.facts().voxel.has_value());
        CHECK(stack.facts().voxel->voxel_mm[0] == doctest::Approx(0.02));
        CHECK(stack.facts().voxel->voxel_mm[2] == doctest::Approx(0.03));
        CHECK(stack.facts().source.format == "DICOM");
    }
    const auto place = series(scratch);
    put_text(place / "DICOMDIR", DicomSlice().file(0));
    put_text(place / "report.txt", "words");
    put_text(place / "structures", DicomMaker().text(0x08, 0x60, "CS", "RTSTRUCT").file());
    check_stack(place);
    CHECK(noted(open_stack(place), "DICOM files without a picture left out, structures"));
    // Turned in space: the normal of (x, z) rows and columns is -y, so the stack runs against y.
    check_stack(series(scratch, [](DicomSlice& slice, int z) {
        slice.position = "1\\" + std::to_string(-3 * z) + "e-2\\7";
        slice.orientation = "1\\0\\0\\0\\0\\1";
    }));
}

TEST_CASE("a DICOM series is rescaled, and bits beside the stored ones do not count") {
    const Scratch scratch;
    const SliceStack stack = open_stack(series(scratch, [](DicomSlice& slice, int) { slice.slope = "0.5"; }));
    Image<float> slice(stack_width, stack_height);
    stack.read_slice(4, slice.view());
    CHECK(slice(5, 3) == static_cast<float>(voxel(5, 3, 4)) * 0.5F - 1000);
    CHECK(stack.facts().source.full_scale == 65535 * 0.5 - 1000);
    const SliceStack narrow = open_stack(series(scratch, [](DicomSlice& s, int) { s.stored = 12; }));
    narrow.read_slice(4, slice.view());
    CHECK(slice(5, 3) == static_cast<float>(voxel(5, 3, 4) & 0xFFFU));
}

TEST_CASE("missing, doubled, shifted and foreign slices of a DICOM series are named") {
    const Scratch scratch;
    auto place = series(scratch);
    std::filesystem::remove(place / "IM45");
    CHECK(has(stack_refusal(place),
              "unequal distances: 0.06 mm between IM46 and IM44, elsewhere 0.03; slices are "
              "missing there"));
    place = series(scratch);
    std::filesystem::copy_file(place / "IM45", place / "copy");
    CHECK(has(stack_refusal(place), "holds a slice twice: no distance between IM45 and copy"));
    CHECK(has(stack_refusal(series(scratch,
                                   [](DicomSlice& s, int z) {
                                       if (z == 5) s.series = "1.2.3.5";
                                   })),
              "slices of two scans"));
    CHECK(has(stack_refusal(series(scratch,
                                   [](DicomSlice& s, int z) {
                                       if (z == 5) s.stored = 12;
                                   })),
              "slices of two kinds"));
    CHECK(has(stack_refusal(series(scratch,
                                   [](DicomSlice& s, int z) {
                                       if (z == 5) s.spacing = "0.03\\0.03";
                                   })),
              "slices of two scales"));
    CHECK(has(stack_refusal(series(scratch,
                                   [](DicomSlice& s, int z) {
                                       s.position =
                                           std::to_string(z) + "e-2\\2\\" + std::to_string(3 * z) + "e-2";
                                   })),
              "shifted sideways by 0.11 mm"));
    CHECK(has(stack_refusal(series(scratch,
                                   [](DicomSlice& s, int z) {
                                       if (z == 5) s.orientation = "0\\1\\0\\1\\0\\0";
                                   })),
              "not parallel"));
}

TEST_CASE("without positions the numbers of a DICOM series give the order, and the thickness is doubted") {
    const Scratch scratch;
    const auto numbered = [](DicomSlice& slice, int z) {
        slice.position.clear();
        slice.number = std::to_string(z + 1);
        slice.thickness = "0.04";
    };
    const SliceStack stack = open_stack(series(scratch, numbered));
    check_stack(stack);
    CHECK(noted(stack, "ordered by their numbers"));
    CHECK(noted(stack, "taken from SliceThickness"));
    auto place = series(scratch, numbered);
    std::filesystem::remove(place / "IM45");
    CHECK(has(stack_refusal(place), "gaps in its slice numbers, between IM46 (5) and IM44 (7)"));
    CHECK(has(stack_refusal(series(scratch,
                                   [&](DicomSlice& slice, int z) {
                                       numbered(slice, z);
                                       if (z == 3) slice.number.clear();
                                   })),
              "their order is not known"));
}

TEST_CASE("frames of one DICOM file are a stack, compressed ones are refused by name") {
    const Scratch scratch;
    DicomMaker maker, packed;
    maker.text(0x28, 0x08, "IS", "12").picture(stack_width, stack_height, 16, 16);
    const SliceStack stack =
        open_stack(put(scratch, maker.raw(0x7FE0, 0x10, "OW", StackKind().all()).file()));
    check_stack(stack);
    CHECK_FALSE(stack.facts().voxel.has_value());
    packed.text(0x28, 0x08, "IS", "12").picture(stack_width, stack_height, 8, 8);
    CHECK(has(stack_refusal(put(scratch, packed.fragments("xxxx").file("1.2.840.10008.1.2.5"))),
              "12 frames that are compressed"));
    const auto one = put(scratch, DicomSlice().file(0));
    CHECK(has(stack_refusal(one, Fault::usage), "is a single picture"));
}

TEST_CASE("damaged stacks are read or refused in one line") {
    const Scratch scratch;
    DicomMaker frames;
    frames.text(0x28, 0x08, "IS", "12").picture(stack_width, stack_height, 16, 12);
    std::map<std::string, std::vector<unsigned char>> kinds;
    const auto text = [](const std::string& words) {
        return std::vector<unsigned char>(words.begin(), words.end());
    };
    kinds["TIFF"] = bytes_of(write_tiff_stack(scratch / "a.tif", {.description = "images=12\nspacing=1\n"}));
    kinds["TIFF packed"] =
        bytes_of(write_tiff_stack(scratch / "b.tif", {.mode = "wb8", .compression = COMPRESSION_LZW}));
    kinds["TIFF tiles"] = bytes_of(write_tiff_stack(scratch / "c.tif", {.tile = 16}));
    kinds["TIFF one directory"] = text(SingleDirectory().bytes());
    kinds["MetaImage"] = text(meta("ElementSpacing = 1 1 1\n") + StackKind().all());
    kinds["NRRD packed"] = text(nrrd("encoding: gzip\nendian: little\n") + zipped(StackKind().all(), true));
    kinds["DICOM frames"] = text(frames.raw(0x7FE0, 0x10, "OW", StackKind().all()).file());
    LoadLimits limits;
    limits.memory_bytes = std::size_t{64} << 20;
    for (const auto& [kind, whole] : kinds) {
        CAPTURE(kind);
        int refused = 0;
        for (std::uint64_t seed = 1; seed <= 400; ++seed) {
            CAPTURE(seed);
            put_bytes(scratch / "damaged.any", mutated(whole, seed));
            try {
                const SliceStack stack = open_stack(scratch / "damaged.any", limits);
                Image<float> slice(stack.width(), stack.height());
                for (int z = 0; z < std::min(stack.slices(), 30); ++z)
                    stack.read_slice(z, slice.view());
            } catch (const Error& error) {
                ++refused;
                const bool sound = error.fault() != Fault::program && !has(error.what(), "\n");
                CHECK(sound);
            } // anything else ends the test
        }
        CHECK(refused > 40); // the damage is real: it does not all miss
    }
    // One slice of a series damaged: the folder is read or refused as a whole.
    const auto place = series(scratch);
    const auto whole = bytes_of(place / "IM45");
    int refused = 0;
    for (std::uint64_t seed = 1; seed <= 200; ++seed) {
        put_bytes(place / "IM45", mutated(whole, seed));
        refused += stack_refusal(place, Fault::input, limits).empty() ? 0 : 1;
    }
    CHECK(refused > 40);
}
