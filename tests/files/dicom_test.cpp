// SPDX-License-Identifier: Apache-2.0
#include "files/dicom_maker.hpp"
#include "files/scratch.hpp"

#include <bit>
#include <cmath>

using namespace ringwall;
using namespace ringwall::test;
using Order = DicomMaker::Order;

namespace {

constexpr int width = 9, height = 7;

/// Different from pixel to pixel, within 12 bits.
unsigned value(int x, int y) {
    return static_cast<unsigned>(5 + x + y * width) * 59U;
}

template<typename Each>
std::string all_pixels(Each each) {
    std::string bytes;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            bytes += each(x, y);
    return bytes;
}

std::string pixels16(const DicomMaker& maker) {
    return all_pixels([&](int x, int y) { return maker.number(value(x, y), 2); });
}

/// A plain 16-bit picture with whatever stands before its size.
template<typename AddElements>
std::string plain(AddElements add_elements, Order order = Order::explicit_little) {
    DicomMaker maker(order);
    add_elements(maker);
    maker.picture(width, height, 16, 12);
    return maker.raw(0x7FE0, 0x10, "OW", pixels16(maker)).file();
}

Radiograph load(const Scratch& scratch, const std::string& bytes) {
    put_text(scratch / "a.any", bytes);
    return load_radiograph(scratch / "a.any");
}

std::string refused(const Scratch& scratch, const std::string& bytes) {
    put_text(scratch / "r.any", bytes);
    return refusal(scratch / "r.any");
}

template<typename Expected>
void check(const Radiograph& read, Expected expected) {
    REQUIRE(read.values.width() == width);
    REQUIRE(read.values.height() == height);
    int wrong = 0;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            wrong += read.values(x, y) != static_cast<float>(expected(x, y)) ? 1 : 0;
    CHECK(wrong == 0);
}

const auto same = [](int x, int y) { return static_cast<double>(value(x, y)); };
const auto nothing = [](DicomMaker&) {};

/// Spacing elements in ascending order; empty ones are left out.
std::string with_spacing(const char* sop_class, const char* magnification, const char* imager,
                         const char* pixel, const char* calibration) {
    DicomMaker maker;
    maker.text(0x08, 0x16, "UI", sop_class);
    if (*magnification != '\0') maker.text(0x18, 0x1114, "DS", magnification);
    if (*imager != '\0') maker.text(0x18, 0x1164, "DS", imager);
    maker.us(0x28, 0x02, 1)
        .text(0x28, 0x04, "CS", "MONOCHROME2")
        .us(0x28, 0x10, height)
        .us(0x28, 0x11, width);
    if (*pixel != '\0') maker.text(0x28, 0x30, "DS", pixel);
    maker.us(0x28, 0x100, 16).us(0x28, 0x101, 12).us(0x28, 0x102, 11).us(0x28, 0x103, 0);
    if (*calibration != '\0') maker.text(0x28, 0xA02, "CS", calibration);
    return maker.raw(0x7FE0, 0x10, "OW", pixels16(maker)).file();
}

} // namespace

TEST_CASE("DICOM reads back in every plain encoding, with and without preamble") {
    const Scratch scratch;
    for (const Order order : {Order::explicit_little, Order::implicit_little, Order::explicit_big}) {
        const auto add_class = [](DicomMaker& maker) {
            maker.text(0x08, 0x16, "UI", "1.2.840.10008.5.1.4.1.1.1.1");
        };
        const std::string whole = plain(add_class, order);
        const Radiograph read = load(scratch, whole);
        check(read, same);
        CHECK(read.facts.format == "DICOM");
        CHECK(read.facts.bits == 12);
        CHECK(read.facts.full_scale == 4095);
        CHECK_FALSE(read.facts.lossy);
        CHECK_FALSE(read.facts.inverted_scale);
        CHECK(read.facts.radiometry == Radiometry::unknown);
        check(load(scratch, whole.substr(132)), same); // from the header on
        DicomMaker bare(order);
        add_class(bare);
        bare.picture(width, height, 16, 12);
        check(load(scratch, bare.raw(0x7FE0, 0x10, "OW", pixels16(bare)).bare()), same);
    }
}

TEST_CASE("DICOM of 8 and 32 bits, signed, and with bits that belong to others reads back") {
    const Scratch scratch;
    for (const Order order : {Order::explicit_little, Order::explicit_big}) {
        DicomMaker eight(order), wide(order), signs(order), foreign(order);
        std::string bytes8 =
            all_pixels([&](int x, int y) { return std::string(1, static_cast<char>(value(x, y) % 251)); }) +
            '\0';
        if (order == Order::explicit_big) // bytes in words: each pair is turned round
            for (std::size_t i = 0; i + 1 < bytes8.size(); i += 2)
                std::swap(bytes8[i], bytes8[i + 1]);
        check(load(scratch, eight.picture(width, height, 8, 8).raw(0x7FE0, 0x10, "OW", bytes8).file()),
              [](int x, int y) { return value(x, y) % 251; });
        const auto words32 = all_pixels([&](int x, int y) { return wide.number(value(x, y) * 4000ULL, 4); });
        check(load(scratch, wide.picture(width, height, 32, 32).raw(0x7FE0, 0x10, "OW", words32).file()),
              [](int x, int y) { return value(x, y) * 4000.0; });
        const auto minus = all_pixels([&](int x, int y) {
            return signs.number(static_cast<std::uint16_t>(1000 - static_cast<int>(value(x, y))), 2);
        });
        const Radiograph below =
            load(scratch, signs.picture(width, height, 16, 16, 1).raw(0x7FE0, 0x10, "OW", minus).file());
        check(below, [](int x, int y) { return 1000.0 - value(x, y); });
        CHECK(below.facts.lowest_value == -32768);
        const auto marked =
            all_pixels([&](int x, int y) { return foreign.number(value(x, y) | 0xA000U, 2); });
        check(load(scratch, foreign.picture(width, height, 16, 12).raw(0x7FE0, 0x10, "OW", marked).file()),
              same);
    }
}

TEST_CASE("twelve signed bits keep their sign") {
    const Scratch scratch;
    DicomMaker maker;
    const auto bytes =
        all_pixels([&](int x, int y) { return maker.number((value(x, y) - 2000U) & 0xFFFU, 2); });
    check(load(scratch, maker.picture(width, height, 16, 12, 1).raw(0x7FE0, 0x10, "OW", bytes).file()),
          [](int x, int y) {
              const int v = static_cast<int>((value(x, y) - 2000U) & 0xFFFU);
              return v > 2047 ? v - 4096 : v;
          });
}

TEST_CASE("DICOM rescaling is applied to values and limits") {
    const Scratch scratch;
    DicomMaker maker;
    maker.picture(width, height, 16, 12).text(0x28, 0x1052, "DS", "-1024").text(0x28, 0x1053, "DS", "0.5");
    const Radiograph read = load(scratch, maker.raw(0x7FE0, 0x10, "OW", pixels16(maker)).file());
    check(read, [](int x, int y) { return value(x, y) * 0.5 - 1024; });
    CHECK(read.facts.lowest_value == -1024);
    CHECK(read.facts.full_scale == 4095 * 0.5 - 1024);
}

TEST_CASE("MONOCHROME1 is said and not inverted") {
    const Scratch scratch;
    DicomMaker maker;
    maker.picture(width, height, 16, 12, 0, "MONOCHROME1");
    const Radiograph read = load(scratch, maker.raw(0x7FE0, 0x10, "OW", pixels16(maker)).file());
    check(read, same);
    CHECK(read.facts.inverted_scale);
}

TEST_CASE("DICOM colour becomes grey") {
    const Scratch scratch;
    DicomMaker maker;
    maker.picture(width, height, 8, 8, 0, "RGB", 3);
    const auto bytes = all_pixels([&](int x, int y) {
        const auto v = static_cast<char>(value(x, y) % 200);
        return std::string{v, static_cast<char>(v / 2), static_cast<char>(3)};
    });
    const Radiograph read = load(scratch, maker.raw(0x7FE0, 0x10, "OB", bytes + '\0').file());
    CHECK(read.facts.colour);
    const unsigned v = value(4, 3) % 200;
    const int r = static_cast<signed char>(v); // how the test stored it
    CHECK(read.values(4, 3) ==
          doctest::Approx(0.299 * (r & 0xFF) + 0.587 * ((r / 2) & 0xFF) + 0.114 * 3).epsilon(1e-6));
}

TEST_CASE("DICOM float pixels read back") {
    const Scratch scratch;
    for (const bool twice : {false, true}) {
        DicomMaker maker;
        maker.us(0x28, 0x02, 1)
            .text(0x28, 0x04, "CS", "MONOCHROME2")
            .us(0x28, 0x10, height)
            .us(0x28, 0x11, width)
            .us(0x28, 0x100, twice ? 64 : 32);
        const auto bytes = all_pixels([&](int x, int y) {
            const double v = value(x, y) * 0.25;
            return twice ? maker.number(std::bit_cast<std::uint64_t>(v), 8)
                         : maker.number(std::bit_cast<std::uint32_t>(static_cast<float>(v)), 4);
        });
        const Radiograph read =
            load(scratch, maker.raw(0x7FE0, twice ? 9 : 8, twice ? "OD" : "OF", bytes).file());
        check(read, [](int x, int y) { return value(x, y) * 0.25; });
        CHECK(read.facts.is_float);
        CHECK(read.facts.full_scale == value(width - 1, height - 1) * 0.25);
    }
}

TEST_CASE("run-length DICOM reads back") {
    // PS3.5 annex G: a header of 16 numbers, then the high bytes and the low bytes as runs; here literal
    // ones.
    const Scratch scratch;
    DicomMaker maker;
    const auto segment = [](int shift) {
        std::string bytes;
        for (int y = 0; y < height; ++y) {
            bytes += static_cast<char>(width - 1);
            for (int x = 0; x < width; ++x)
                bytes += static_cast<char>(value(x, y) >> shift);
        }
        return bytes + (bytes.size() % 2 == 1 ? std::string(1, '\x80') : std::string());
    };
    const std::string high = segment(8), low = segment(0);
    std::string head = maker.number(2, 4) + maker.number(64, 4) + maker.number(64 + high.size(), 4);
    head.resize(64);
    check(load(scratch,
               maker.picture(width, height, 16, 12).fragments(head + high + low).file("1.2.840.10008.1.2.5")),
          same);
}

TEST_CASE("a DICOM scale is taken only where it holds at the board") {
    struct Row {
        const char *sop_class, *magnification, *imager, *pixel, *calibration;
        double x_mm, y_mm; ///< 0: ignored
    };
    const char* projection = "1.2.840.10008.5.1.4.1.1.1.1";
    const char* slice = "1.2.840.10008.5.1.4.1.1.2";
    const std::vector<Row> rows = {
        {projection, "", "", "0.030\\0.020", "FIDUCIAL", 0.02, 0.03}, // row distance first
        {projection, "", "0.1\\0.1", "0.03\\0.03", "GEOMETRY", 0.03, 0.03},
        {projection, "", "", "0.03\\0.03", "", 0, 0},
        {projection, "", "0.1\\0.1", "0.1\\0.1", "", 0, 0},
        {projection, "", "0.1\\0.1", "", "", 0, 0},
        {projection, "4", "0.12\\0.1", "", "", 0.025, 0.03},
        {projection, "4", "0.12\\0.1", "0.12\\0.1", "", 0.025, 0.03},
        {projection, "0.2", "0.1\\0.1", "", "", 0, 0}, // a magnification below 1 is none
        {slice, "", "", "0.03\\0.02", "", 0.02, 0.03},
        {projection, "", "", "0\\0.02", "FIDUCIAL", 0, 0},
        {projection, "", "", "nonsense", "FIDUCIAL", 0, 0},
        {projection, "", "", "", "", 0, 0}};
    for (const Row& row : rows) {
        CAPTURE(row.pixel);
        CAPTURE(row.imager);
        CAPTURE(row.calibration);
        const Scratch scratch;
        const SourceFacts facts = load(scratch, with_spacing(row.sop_class, row.magnification, row.imager,
                                                             row.pixel, row.calibration))
                                      .facts;
        REQUIRE(facts.scale.has_value() == (row.x_mm > 0));
        if (!facts.scale) continue;
        CHECK(facts.scale->pixel_xy_mm[0] == doctest::Approx(row.x_mm));
        CHECK(facts.scale->pixel_xy_mm[1] == doctest::Approx(row.y_mm));
    }
}

TEST_CASE("an ignored DICOM scale is noted") {
    const Scratch scratch;
    const auto notes =
        load(scratch, with_spacing("1.2.840.10008.5.1.4.1.1.1.1", "", "0.1\\0.1", "0.1\\0.1", ""))
            .facts.notes;
    REQUIRE(notes.size() == 2);
    CHECK(has(notes[0], "PixelSpacing"));
    CHECK(has(notes[1], "at the detector"));
}

TEST_CASE("the meaning of the DICOM grey scale is taken only as stated") {
    struct Row {
        const char *intent, *relationship;
        unsigned sign;
        Radiometry expected;
    };
    for (const Row& row : {Row{"FOR PROCESSING", "LIN", 1, Radiometry::linear},
                           Row{"FOR PROCESSING", "LOG", 0xFFFF, Radiometry::log},
                           Row{"FOR PRESENTATION", "LOG", 1, Radiometry::display},
                           Row{"FOR PROCESSING", "", 1, Radiometry::unknown},
                           Row{"FOR PROCESSING", "LIN", 0xFFFF, Radiometry::unknown}}) {
        DicomMaker maker;
        maker.text(0x08, 0x68, "CS", row.intent).picture(width, height, 16, 12);
        if (*row.relationship != '\0')
            maker.text(0x28, 0x1040, "CS", row.relationship)
                .raw(0x28, 0x1041, "SS", maker.number(row.sign, 2));
        const Scratch scratch;
        CHECK(load(scratch, maker.raw(0x7FE0, 0x10, "OW", pixels16(maker)).file()).facts.radiometry ==
              row.expected);
    }
}

TEST_CASE("DICOM that went through a lossy compression says so") {
    const Scratch scratch;
    DicomMaker maker;
    maker.picture(width, height, 16, 12).text(0x28, 0x2110, "CS", "01");
    CHECK(load(scratch, maker.raw(0x7FE0, 0x10, "OW", pixels16(maker)).file()).facts.lossy);
}

TEST_CASE("sequences of any form are passed over") {
    const Scratch scratch;
    const auto add_sequences = [](DicomMaker& maker) {
        maker.header(0x08, 0x1115, "SQ", 0xFFFFFFFF).header(0xFFFE, 0xE000, "", 0xFFFFFFFF);
        maker.us(0x28, 0x10, 3)
            .header(0xFFFE, 0xE00D, "", 0)
            .header(0xFFFE, 0xE0DD, "", 0); // not the picture's rows
        maker.raw(0x08, 0x1140, "SQ", std::string("\xFE\xFF\x00\xE0\x04\x00\x00\x00zzzz", 12));
    };
    check(load(scratch, plain(add_sequences)), same);
}

TEST_CASE("DICOM frames are counted, and several are a stack") {
    const Scratch scratch;
    DicomMaker maker;
    maker.us(0x28, 0x02, 1)
        .text(0x28, 0x04, "CS", "MONOCHROME2")
        .text(0x28, 0x08, "IS", "3")
        .us(0x28, 0x10, height)
        .us(0x28, 0x11, width);
    maker.us(0x28, 0x100, 16).us(0x28, 0x101, 12).us(0x28, 0x102, 11).us(0x28, 0x103, 0);
    const std::string three =
        maker.raw(0x7FE0, 0x10, "OW", pixels16(maker) + pixels16(maker) + pixels16(maker)).file();
    CHECK(has(refused(scratch, three), "slice stack"));
    CHECK(describe_file(scratch / "r.any").pages == 3);
}

TEST_CASE("damaged or foreign DICOM is refused in words") {
    const Scratch scratch;
    const std::string whole = plain(nothing);
    for (std::size_t keep = 132; keep < whole.size(); keep += 3)
        CHECK_FALSE(refused(scratch, whole.substr(0, keep)).empty());
    CHECK(has(refused(scratch, whole.substr(0, whole.size() - 1)), "takes 126 bytes, got 125"));
    DicomMaker kilo, no_picture, short_pixels, tall, palette;
    CHECK(
        has(refused(scratch,
                    kilo.picture(width, height, 16, 12).fragments("whatever").file("1.2.840.10008.1.2.4.90")),
            "JPEG 2000"));
    CHECK(has(refused(scratch, kilo.file("1.2.840.10008.1.2.1.99")), "deflated"));
    CHECK(has(refused(scratch, no_picture.text(0x08, 0x60, "CS", "SR").file()), "without a picture"));
    CHECK(has(refused(scratch,
                      short_pixels.picture(width, height, 16, 12).raw(0x7FE0, 0x10, "OW", "12345678").file()),
              "take 126 bytes, got 8"));
    CHECK(has(refused(scratch, palette.picture(width, height, 16, 12, 0, "PALETTE COLOR")
                                   .raw(0x7FE0, 0x10, "OW", pixels16(palette))
                                   .file()),
              "PALETTE COLOR"));
    LoadLimits limits;
    limits.memory_bytes = std::size_t{100} << 20;
    put_text(scratch / "t.any", tall.picture(60000, 60000, 16, 12).raw(0x7FE0, 0x10, "OW", "").file());
    CHECK(has(refusal(scratch / "t.any"), "2^31 pixels"));
}

TEST_CASE("a JPEG cut off inside DICOM is refused") {
    const Scratch scratch;
    DicomMaker maker;
    const std::string half = "\xFF\xD8\xFF\xE0 and so on, without the end mark";
    CHECK(has(
        refused(scratch, maker.picture(width, height, 8, 8).fragments(half).file("1.2.840.10008.1.2.4.50")),
        "cut off"));
}

TEST_CASE("sequences nested without end are refused, not followed into the ground") {
    const Scratch scratch;
    DicomMaker maker;
    for (int level = 0; level < 200000; ++level)
        maker.header(0x08, 0x1115, "SQ", 0xFFFFFFFF).header(0xFFFE, 0xE000, "", 0xFFFFFFFF);
    CHECK(has(refused(scratch, maker.file()), "cut-off DICOM"));
}
