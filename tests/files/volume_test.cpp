// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"
#include "files/zipped.hpp"

#include <algorithm>
#include <array>
#include <bzlib.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

constexpr int width = 11, height = 9;

unsigned value(int x, int y) {
    return static_cast<unsigned>(1 + x + y * width) * 523U; // under 65536, all different
}

/// The picture as 16-bit numbers.
std::string pixels(bool big_endian, int slices = 1) {
    std::string bytes;
    for (int slice = 0; slice < slices; ++slice)
        for (int y = 0; y < height; ++y)
            for (int x = 0; x < width; ++x) {
                const char low = static_cast<char>(value(x, y) & 0xFF),
                           high = static_cast<char>(value(x, y) >> 8);
                bytes += big_endian ? high : low;
                bytes += big_endian ? low : high;
            }
    return bytes;
}

std::string bzipped(const std::string& bytes) {
    std::string packed(bytes.size() + 1000, '\0'), from = bytes;
    auto size = static_cast<unsigned>(packed.size());
    REQUIRE(BZ2_bzBuffToBuffCompress(packed.data(), &size, from.data(), static_cast<unsigned>(from.size()), 9,
                                     0, 0) == BZ_OK);
    packed.resize(size);
    return packed;
}

std::string as_text() {
    std::string text;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            text += std::to_string(value(x, y)) + (x + 1 < width ? " " : "\n");
    return text;
}

std::string meta(const std::string& more, const std::string& data_file = "LOCAL",
                 const std::string& size = "11 9") {
    const auto dimensions = std::to_string(1 + std::count(size.begin(), size.end(), ' '));
    return "ObjectType = Image\nNDims = " + dimensions + "\n" + more + "DimSize = " + size +
           "\nElementType = MET_USHORT\nElementDataFile = " + data_file + "\n";
}

std::string nrrd(const std::string& more, const std::string& sizes = "11 9") {
    const auto dimensions = std::to_string(1 + std::count(sizes.begin(), sizes.end(), ' '));
    return "NRRD0004\n# a remark\ntype: unsigned short\ndimension: " + dimensions + "\nsizes: " + sizes +
           "\n" + more;
}

Radiograph check(const Scratch& scratch, const std::string& bytes, const std::string& name = "a.any") {
    put_text(scratch / name, bytes);
    Radiograph read = load_radiograph(scratch / name);
    REQUIRE(read.values.width() == width);
    REQUIRE(read.values.height() == height);
    int wrong = 0;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            wrong += read.values(x, y) != static_cast<float>(value(x, y)) ? 1 : 0;
    CHECK(wrong == 0);
    CHECK(read.facts.bits == 16);
    return read;
}

std::string refused(const Scratch& scratch, const std::string& bytes) {
    put_text(scratch / "r.any", bytes);
    return refusal(scratch / "r.any");
}

} // namespace

TEST_CASE("MetaImage reads back in every packing") {
    const Scratch scratch;
    CHECK(check(scratch, meta("BinaryData = True\n") + pixels(false)).facts.format == "MetaImage");
    check(scratch, meta("BinaryData = True\nBinaryDataByteOrderMSB = True\n") + pixels(true));
    check(scratch, meta("BinaryData = True\nElementByteOrderMSB = True\n") + pixels(true));
    check(scratch, meta("BinaryData = True\nCompressedData = True\n") + zipped(pixels(false), false));
    check(scratch, meta("BinaryData = False\n") + as_text());
    check(scratch, meta("", "LOCAL", "11 9 1") + pixels(false)); // one slice is a picture
}

TEST_CASE("MetaImage with a data file of its own is hashed header first") {
    const Scratch scratch;
    const std::string header = meta("HeaderSize = 3\n", "pixels.raw"), data = "abc" + pixels(false);
    put_text(scratch / "pixels.raw", data);
    const Radiograph read = check(scratch, header, "a.mhd");
    const std::string both = header + data;
    CHECK(read.facts.sha256 == sha256_hex(both.data(), both.size()));
    put_text(scratch / "pixels.raw", "whatever stands before" + pixels(false));
    check(scratch, meta("HeaderSize = -1\n", "pixels.raw"), "b.mhd");
}

TEST_CASE("a header must not reach for files outside its folder, and names what is missing") {
    const Scratch scratch;
    for (const char* name : {"/etc/hostname", "../pixels.raw", "below/../../pixels.raw"}) {
        CHECK(has(refused(scratch, meta("", name)), "own folder"));
        CHECK(has(
            refused(scratch, nrrd("encoding: raw\nendian: little\ndata file: " + std::string(name) + "\n")),
            "own folder"));
    }
    CHECK(has(refused(scratch, meta("", "none.raw")), "none.raw"));
}

TEST_CASE("MetaImage spacing counts only with a unit") {
    const Scratch scratch;
    const auto facts = [&](const std::string& more) {
        return check(scratch, meta(more) + pixels(false)).facts;
    };
    const SourceFacts millimetres = facts("ElementSpacing = 0.02 0.03\nDistanceUnits = mm\n");
    REQUIRE(millimetres.scale.has_value());
    CHECK(millimetres.scale->pixel_xy_mm == std::array<double, 2>{0.02, 0.03});
    CHECK(has(millimetres.scale->from, "MetaImage spacing, 0.02 x 0.03 mm"));
    const SourceFacts micrometres = facts("ElementSpacing = 20 30\nDistanceUnits = um\n");
    REQUIRE(micrometres.scale.has_value());
    CHECK(micrometres.scale->pixel_xy_mm[1] == doctest::Approx(0.03));
    const SourceFacts without = facts("ElementSpacing = 0.02 0.03\n");
    CHECK_FALSE(without.scale.has_value());
    REQUIRE(without.notes.size() == 1);
    CHECK(has(without.notes[0], "no unit"));
    CHECK(facts("ElementSpacing = 1 1\n").notes.empty()); // what is written when nobody measured
}

TEST_CASE("NRRD reads back in every packing") {
    const Scratch scratch;
    CHECK(check(scratch, nrrd("encoding: raw\nendian: little\n\n") + pixels(false)).facts.format == "NRRD");
    check(scratch, nrrd("encoding: raw\nendian: big\n\n") + pixels(true));
    check(scratch, nrrd("encoding: gzip\nendian: big\n\n") + zipped(pixels(true), true));
    check(scratch, nrrd("encoding: bz2\nendian: little\n\n") + bzipped(pixels(false)));
    check(scratch, nrrd("encoding: ascii\n\n") + as_text());
    check(scratch, nrrd("encoding: raw\nendian: little\nbyte skip: 5\n\n") + "12345" + pixels(false));
    check(scratch, nrrd("encoding: raw\nendian: little\nline skip: 2\nbyte skip: 1\n\n") + "one\ntwo\n." +
                       pixels(false));
    check(scratch, nrrd("encoding: gz\nendian: little\nline skip: 1\nbyte skip: 3\n\n") + "one\n" +
                       zipped("..." + pixels(false), true));
    check(scratch, nrrd("encoding: raw\nendian: little\nbyte skip: -1\n\n") + "anything" + pixels(false));
    check(scratch, nrrd("encoding: raw\nendian: little\nsomebody:=says so\n\n", "11 9 1") + pixels(false));
    put_text(scratch / "pixels.raw", pixels(false));
    check(scratch, nrrd("encoding: raw\nendian: little\ndata file: pixels.raw\n"), "a.nhdr");
}

TEST_CASE("NRRD spacing counts only with a unit, by axis or by direction") {
    const Scratch scratch;
    const auto facts = [&](const std::string& more) {
        return check(scratch, nrrd(more + "encoding: raw\nendian: little\n\n") + pixels(false)).facts;
    };
    const SourceFacts by_axis = facts("spacings: 0.02 30\nunits: \"mm\" \"um\"\n");
    REQUIRE(by_axis.scale.has_value());
    CHECK(by_axis.scale->pixel_xy_mm[0] == doctest::Approx(0.02));
    CHECK(by_axis.scale->pixel_xy_mm[1] == doctest::Approx(0.03));
    const SourceFacts by_direction =
        facts("space dimension: 2\nspace directions: (0.03, 0.04) (0.025,0)\nspace units: \"mm\" \"mm\"\n");
    REQUIRE(by_direction.scale.has_value());
    CHECK(by_direction.scale->pixel_xy_mm[0] == doctest::Approx(0.05)); // length of (0.03, 0.04)
    CHECK(by_direction.scale->pixel_xy_mm[1] == doctest::Approx(0.025));
    CHECK_FALSE(facts("spacings: 0.02 0.02\n").scale.has_value());
    CHECK_FALSE(facts("spacings: nan nan\n").scale.has_value());
    CHECK_FALSE(facts("space dimension: 2\nspace directions: (0.02,0) (0,0.02)\n").scale.has_value());
}

TEST_CASE("volumes: colour channels become grey, other channels are refused") {
    const Scratch scratch;
    std::string rgb;
    for (int i = 0; i < width * height; ++i)
        rgb += {static_cast<char>(i), static_cast<char>(2 * i % 251), static_cast<char>(7)};
    put_text(scratch / "c.nrrd", "NRRD0004\ntype: uint8\ndimension: 3\nsizes: 3 11 9\nkinds: RGB-color "
                                 "domain domain\nencoding: raw\n\n" +
                                     rgb);
    const Radiograph colour = load_radiograph(scratch / "c.nrrd");
    CHECK(colour.facts.colour);
    CHECK(colour.values(4, 3) == doctest::Approx(0.299 * 37 + 0.587 * 74 + 0.114 * 7).epsilon(1e-6));
    CHECK(has(refused(scratch, meta("ElementNumberOfChannels = 2\n") + pixels(false, 2)), "2 channels"));
}

TEST_CASE("more slices than one are a stack: counted, and refused as a picture") {
    const Scratch scratch;
    for (const std::string& bytes :
         {meta("", "LOCAL", "11 9 4") + pixels(false, 4),
          nrrd("encoding: raw\nendian: little\n\n", "11 9 2 2") + pixels(false, 4)}) {
        CHECK(has(refused(scratch, bytes), "slice stack"));
        CHECK(describe_file(scratch / "r.any").pages == 4);
    }
    CHECK(has(refused(scratch, meta("", "LIST")), "slice stack"));
    CHECK(has(refused(scratch, meta("", "slice%03d.raw 1 9 1")), "slice stack"));
}

TEST_CASE("volumes cut off or damaged are refused in words") {
    const Scratch scratch;
    const std::string plain = meta("") + pixels(false);
    CHECK(has(refused(scratch, plain.substr(0, plain.size() - 1)), "take 198 bytes, got 197"));
    CHECK(has(refused(scratch, meta("", "LOCAL", "11 9 4") + pixels(false, 3)), "cut off"));
    const std::string packed = zipped(pixels(false), true),
                      header = nrrd("encoding: gzip\nendian: little\n\n");
    CHECK(has(refused(scratch, header + packed.substr(0, packed.size() - 9)), "cut off"));
    std::string wrong_sum = packed;
    wrong_sum[packed.size() - 6] = static_cast<char>(wrong_sum[packed.size() - 6] ^ 1);
    CHECK(has(refused(scratch, header + wrong_sum), "damaged"));
    const std::string text = as_text();
    CHECK(has(refused(scratch, nrrd("encoding: ascii\n\n") + text.substr(0, text.size() / 2)),
              "cut off in row"));
    CHECK(has(refused(scratch, nrrd("encoding: ascii\n\n") + "12 x3 " + text), "expected a number"));
    CHECK(has(refused(scratch, nrrd("encoding: ascii\n\n") + "70000 " + text), "16-bit integer"));
    CHECK(has(refused(scratch, nrrd("encoding: ascii\n\n") + "1.5 " + text), "16-bit integer"));
    CHECK(has(refused(scratch, nrrd("encoding: hex\n\n") + text), "encoding"));
    CHECK(has(refused(scratch, nrrd("encoding: raw\n\n") + pixels(false)), "byte order"));
    CHECK(has(refused(scratch, nrrd("encoding: raw\nendian: little\n\n", "11") + pixels(false)),
              "one dimension"));
    CHECK(has(refused(scratch, meta("", "LOCAL", "11 9x") + pixels(false)), "whole numbers"));
    CHECK(has(refused(scratch, "ObjectType = Tube\n" + meta("").substr(19) + pixels(false)),
              "expected an Image"));
}

TEST_CASE("volumes too large are refused from the header") {
    const Scratch scratch;
    CHECK(has(refused(scratch, meta("", "LOCAL", "70000 70000") + pixels(false)), "2^31 pixels"));
    CHECK(has(refused(scratch, nrrd("encoding: gzip\nendian: little\n\n", "40000 40000")), "memory limit"));
    CHECK(has(refused(scratch,
                      nrrd("encoding: raw\nendian: little\n\n", "11 9 18446744073709551615") + pixels(false)),
              "slices"));
    CHECK(has(refused(scratch, meta("", "LOCAL", "0 9") + pixels(false)), "at least 1 x 1"));
}
