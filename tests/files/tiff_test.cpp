// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"

#include <cmath>
#include <cstring>
#include <memory>
#include <tiffio.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

/// How a test TIFF is written.
struct TiffKind {
    const char* mode = "wl"; ///< libtiff's: l/b byte order, 8 BigTIFF
    int bits = 16;
    int format = SAMPLEFORMAT_UINT;
    int samples = 1;
    int photometric = PHOTOMETRIC_MINISBLACK;
    int compression = COMPRESSION_NONE;
    int predictor = 0;
    bool planes = false;
    int tile = 0; ///< side; 0: strips
    int rows_per_strip = 5;
};

constexpr int width = 45, height = 37;

std::string words(const TiffKind& kind) {
    return std::string(kind.mode) + " bits " + std::to_string(kind.bits) + " format " +
           std::to_string(kind.format) + " samples " + std::to_string(kind.samples) + " compression " +
           std::to_string(kind.compression) + " predictor " + std::to_string(kind.predictor) +
           (kind.planes ? " planes" : "") + " tile " + std::to_string(kind.tile);
}

/// A whole number that differs from pixel to pixel as far as the bits allow, and from channel to channel.
std::int64_t whole_value(const TiffKind& kind, int x, int y, int channel) {
    const std::int64_t mixed = (std::int64_t{y} * width + x + 977 * channel) * 2654435761LL;
    const int bits = std::min(kind.bits, 24); // what a float holds exactly
    const std::int64_t value = (mixed >> 7) & ((std::int64_t{1} << bits) - 1);
    return kind.format == SAMPLEFORMAT_INT ? value - (std::int64_t{1} << (bits - 1)) : value;
}

/// Halves of small whole numbers: exact in 16 bits too.
float real_value(int x, int y, int channel) {
    return static_cast<float>((y * width + x + 977 * channel) % 2039) * 0.5F - 300.0F;
}

std::uint16_t half_of(float value) {
    if (value == 0) return 0;
    std::uint32_t bits;
    std::memcpy(&bits, &value, sizeof bits);
    return static_cast<std::uint16_t>((bits >> 16 & 0x8000U) | (((bits >> 23 & 0xFFU) - 112U) << 10) |
                                      (bits >> 13 & 0x3FFU));
}

void put_sample(const TiffKind& kind, std::vector<unsigned char>& row, std::size_t at, int x, int y,
                int channel) {
    const float real = real_value(x, y, channel);
    const double wide = static_cast<double>(real);
    const std::uint16_t half = half_of(real);
    const std::int64_t whole = whole_value(kind, x, y, channel);
    const std::size_t bytes = static_cast<std::size_t>(kind.bits) / 8;
    if (kind.format == SAMPLEFORMAT_IEEEFP) {
        const void* from = kind.bits == 16   ? static_cast<const void*>(&half)
                           : kind.bits == 32 ? static_cast<const void*>(&real)
                                             : &wide;
        std::memcpy(row.data() + at * bytes, from, bytes);
    } else if (kind.bits == 8 || kind.bits == 16 || kind.bits == 32 || kind.bits == 64) {
        std::memcpy(row.data() + at * bytes, &whole,
                    bytes); // low bytes first: the tests run on such machines
    } else {
        for (int bit = 0; bit < kind.bits; ++bit) {
            const std::size_t place =
                at * static_cast<std::size_t>(kind.bits) + static_cast<std::size_t>(bit);
            if ((whole >> (kind.bits - 1 - bit) & 1) != 0)
                row[place / 8] |= static_cast<unsigned char>(0x80U >> place % 8);
        }
    }
}

using Tiff = std::unique_ptr<TIFF, void (*)(TIFF*)>;

Tiff create(const std::filesystem::path& file, const TiffKind& kind, int wide = width, int high = height) {
    Tiff tiff(TIFFOpen(file.c_str(), kind.mode), TIFFClose);
    REQUIRE(tiff);
    TIFFSetField(tiff.get(), TIFFTAG_IMAGEWIDTH, wide);
    TIFFSetField(tiff.get(), TIFFTAG_IMAGELENGTH, high);
    TIFFSetField(tiff.get(), TIFFTAG_BITSPERSAMPLE, kind.bits);
    TIFFSetField(tiff.get(), TIFFTAG_SAMPLEFORMAT, kind.format);
    TIFFSetField(tiff.get(), TIFFTAG_SAMPLESPERPIXEL, kind.samples);
    TIFFSetField(tiff.get(), TIFFTAG_PHOTOMETRIC, kind.photometric);
    TIFFSetField(tiff.get(), TIFFTAG_COMPRESSION, kind.compression);
    TIFFSetField(tiff.get(), TIFFTAG_PLANARCONFIG, kind.planes ? PLANARCONFIG_SEPARATE : PLANARCONFIG_CONTIG);
    if (kind.predictor != 0) TIFFSetField(tiff.get(), TIFFTAG_PREDICTOR, kind.predictor);
    if (kind.tile > 0) {
        TIFFSetField(tiff.get(), TIFFTAG_TILEWIDTH, kind.tile);
        TIFFSetField(tiff.get(), TIFFTAG_TILELENGTH, kind.tile);
    } else {
        TIFFSetField(tiff.get(), TIFFTAG_ROWSPERSTRIP, kind.rows_per_strip);
    }
    return tiff;
}

std::vector<unsigned char> row_of(const TiffKind& kind, int x0, int columns, int y, int plane) {
    const int channels = kind.planes ? 1 : kind.samples;
    std::vector<unsigned char> row(static_cast<std::size_t>((columns * channels * kind.bits + 7) / 8));
    for (int x = 0; x < columns; ++x)
        for (int c = 0; c < channels; ++c)
            put_sample(kind, row, static_cast<std::size_t>(x * channels + c), x0 + x, y,
                       kind.planes ? plane : c);
    return row;
}

void write_pixels(TIFF* tiff, const TiffKind& kind) {
    for (int plane = 0; plane < (kind.planes ? kind.samples : 1); ++plane) {
        for (int y = 0; kind.tile == 0 && y < height; ++y)
            REQUIRE(TIFFWriteScanline(tiff, row_of(kind, 0, width, y, plane).data(),
                                      static_cast<std::uint32_t>(y), static_cast<std::uint16_t>(plane)) == 1);
        for (int y = 0; kind.tile > 0 && y < height; y += kind.tile)
            for (int x = 0; x < width; x += kind.tile) {
                std::vector<unsigned char> tile;
                for (int row = 0; row < kind.tile; ++row)
                    for (const unsigned char byte : row_of(kind, x, kind.tile, y + row, plane))
                        tile.push_back(byte);
                REQUIRE(TIFFWriteTile(tiff, tile.data(), static_cast<std::uint32_t>(x),
                                      static_cast<std::uint32_t>(y), 0,
                                      static_cast<std::uint16_t>(plane)) > 0);
            }
    }
}

float expected(const TiffKind& kind, int x, int y) {
    const auto channel = [&](int c) {
        return kind.format == SAMPLEFORMAT_IEEEFP ? real_value(x, y, c)
                                                  : static_cast<float>(whole_value(kind, x, y, c));
    };
    if (kind.photometric != PHOTOMETRIC_RGB) return channel(0);
    return 0.299F * channel(0) + 0.587F * channel(1) + 0.114F * channel(2);
}

void check_kind(const TiffKind& kind) {
    CAPTURE(words(kind));
    const Scratch scratch;
    write_pixels(create(scratch / "a.tif", kind).get(), kind);
    const Radiograph read = load_radiograph(scratch / "a.tif");
    REQUIRE(read.values.width() == width);
    REQUIRE(read.values.height() == height);
    int wrong = 0;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            wrong += read.values(x, y) != expected(kind, x, y) ? 1 : 0;
    CHECK(wrong == 0);
    CHECK(read.facts.bits == kind.bits);
    CHECK(read.facts.is_float == (kind.format == SAMPLEFORMAT_IEEEFP));
    CHECK(read.facts.colour == (kind.photometric == PHOTOMETRIC_RGB));
    if (kind.format == SAMPLEFORMAT_UINT) CHECK(read.facts.full_scale == std::ldexp(1.0, kind.bits) - 1);
    if (kind.format == SAMPLEFORMAT_INT) CHECK(read.facts.lowest_value == -std::ldexp(1.0, kind.bits - 1));
    CHECK_FALSE(read.facts.lossy);
}

/// A small grey picture with whatever tags the caller adds.
template<typename AddTags>
std::filesystem::path write_small(const Scratch& scratch, AddTags add_tags) {
    TiffKind kind;
    const Tiff tiff = create(scratch / "a.tif", kind);
    add_tags(tiff.get());
    write_pixels(tiff.get(), kind);
    return scratch / "a.tif";
}

std::filesystem::path write_resolution(const Scratch& scratch, double x, double y, int unit) {
    return write_small(scratch, [&](TIFF* tiff) {
        TIFFSetField(tiff, TIFFTAG_RESOLUTIONUNIT, unit);
        TIFFSetField(tiff, TIFFTAG_XRESOLUTION, x);
        TIFFSetField(tiff, TIFFTAG_YRESOLUTION, y);
    });
}

} // namespace

TEST_CASE("TIFF integers of every width read back, in strips and tiles") {
    for (const int bits : {1, 2, 3, 4, 6, 8, 10, 12, 14, 16, 24, 32, 64})
        for (const int tile : {0, 16}) {
            if (tile > 0 && bits == 64) continue;
            // 24 bits in three bytes lie in the machine's order, which the test's packing does not write.
            if (bits != 24) check_kind({.bits = bits, .tile = tile});
        }
    for (const int bits : {8, 16, 32, 64})
        check_kind({.bits = bits, .format = SAMPLEFORMAT_INT});
}

TEST_CASE("TIFF floats of 16, 32 and 64 bits read back") {
    for (const int bits : {16, 32, 64})
        for (const char* mode : {"wl", "wb"})
            check_kind({.mode = mode, .bits = bits, .format = SAMPLEFORMAT_IEEEFP});
}

TEST_CASE("TIFF in both byte orders, small and big, in strips and tiles, planes and pixels") {
    for (const char* mode : {"wl", "wb", "wl8", "wb8"})
        for (const int tile : {0, 32})
            for (const int bits : {8, 16, 32})
                for (const bool planes : {false, true}) {
                    check_kind({.mode = mode, .bits = bits, .tile = tile});
                    check_kind({.mode = mode,
                                .bits = bits,
                                .samples = 3,
                                .photometric = PHOTOMETRIC_RGB,
                                .planes = planes,
                                .tile = tile});
                }
}

TEST_CASE("every lossless TIFF compression of the library reads back") {
    for (const int compression : {COMPRESSION_LZW, COMPRESSION_PACKBITS, COMPRESSION_ADOBE_DEFLATE,
                                  COMPRESSION_LZMA, COMPRESSION_ZSTD}) {
        if (TIFFIsCODECConfigured(static_cast<std::uint16_t>(compression)) == 0) continue;
        check_kind({.compression = compression});
        check_kind(
            {.samples = 3, .photometric = PHOTOMETRIC_RGB, .compression = compression, .planes = true});
        if (compression == COMPRESSION_PACKBITS) continue;
        check_kind({.mode = "wb", .compression = compression, .predictor = 2, .tile = 16});
        check_kind({.bits = 32, .format = SAMPLEFORMAT_IEEEFP, .compression = compression, .predictor = 3});
    }
    for (const int compression : {COMPRESSION_CCITTRLE, COMPRESSION_CCITTFAX3, COMPRESSION_CCITTFAX4})
        check_kind({.bits = 1, .photometric = PHOTOMETRIC_MINISWHITE, .compression = compression});
}

TEST_CASE("one long strip and one strip a row read back") {
    check_kind({.rows_per_strip = height});
    check_kind({.rows_per_strip = 1});
    check_kind({.compression = COMPRESSION_ADOBE_DEFLATE, .rows_per_strip = height});
}

TEST_CASE("minimum is white is said and the values stay as stored") {
    TiffKind kind;
    kind.photometric = PHOTOMETRIC_MINISWHITE;
    check_kind(kind);
    const Scratch scratch;
    write_pixels(create(scratch / "a.tif", kind).get(), kind);
    CHECK(describe_file(scratch / "a.tif").inverted_scale);
}

TEST_CASE("a palette becomes grey on a scale of 255") {
    const Scratch scratch;
    TiffKind kind{.bits = 8, .photometric = PHOTOMETRIC_PALETTE};
    std::array<std::vector<std::uint16_t>, 3> map;
    for (int i = 0; i < 256; ++i)
        for (int c = 0; c < 3; ++c)
            map[static_cast<std::size_t>(c)].push_back(
                static_cast<std::uint16_t>(257 * ((i * (3 + 2 * c)) % 256)));
    {
        const Tiff tiff = create(scratch / "a.tif", kind);
        TIFFSetField(tiff.get(), TIFFTAG_COLORMAP, map[0].data(), map[1].data(), map[2].data());
        write_pixels(tiff.get(), kind);
    }
    const Radiograph read = load_radiograph(scratch / "a.tif");
    CHECK(read.facts.colour);
    CHECK(read.facts.full_scale == 255);
    for (const auto& [x, y] : {std::pair{0, 0}, {44, 36}, {13, 7}}) {
        const int i = static_cast<int>(whole_value(kind, x, y, 0));
        CHECK(read.values(x, y) ==
              doctest::Approx(0.299 * (i * 3 % 256) + 0.587 * (i * 5 % 256) + 0.114 * (i * 7 % 256))
                  .epsilon(1e-6));
    }
}

TEST_CASE("a second grey channel is passed over, more are a stack") {
    check_kind({.samples = 2});
    const Scratch scratch;
    const TiffKind kind{.samples = 5};
    write_pixels(create(scratch / "a.tif", kind).get(), kind);
    CHECK(has(refusal(scratch / "a.tif"), "slice stack"));
}

TEST_CASE("JPEG in a TIFF counts as lossy") {
    const Scratch scratch;
    const TiffKind kind{.bits = 8, .compression = COMPRESSION_JPEG, .rows_per_strip = 8};
    write_pixels(create(scratch / "a.tif", kind).get(), kind);
    CHECK(load_radiograph(scratch / "a.tif").facts.lossy);
}

TEST_CASE("a TIFF resolution is taken only where it can be trusted") {
    struct Row {
        double x, y;
        int unit;
        double x_mm, y_mm; ///< 0: ignored
    };
    const std::vector<Row> rows = {
        {508, 508, RESUNIT_CENTIMETER, 10.0 / 508, 10.0 / 508},
        {400, 410, RESUNIT_CENTIMETER, 10.0 / 400, 10.0 / 410},
        {1016, 1016, RESUNIT_INCH, 0.025, 0.025},
        {72, 72, RESUNIT_INCH, 0, 0},
        {96, 96, RESUNIT_INCH, 0, 0},
        {150, 150, RESUNIT_INCH, 0, 0},
        {300, 300, RESUNIT_INCH, 0, 0},
        {118.1102, 118.1102, RESUNIT_CENTIMETER, 0, 0}, // 300 per inch in other words
        {28.35, 28.35, RESUNIT_CENTIMETER, 0, 0},       // 72 per inch, rounded
        {1016, 72, RESUNIT_INCH, 0, 0},
        {310, 310, RESUNIT_INCH, 25.4 / 310, 25.4 / 310},
        {19, 19, RESUNIT_CENTIMETER, 0, 0}, // 526 um
        {20, 20, RESUNIT_CENTIMETER, 0.5, 0.5},
        {10000, 10000, RESUNIT_CENTIMETER, 0.001, 0.001},
        {10100, 10100, RESUNIT_CENTIMETER, 0, 0}, // 0.99 um
        {508, 508, RESUNIT_NONE, 0, 0}};
    for (const Row& row : rows) {
        CAPTURE(row.x);
        CAPTURE(row.unit);
        const Scratch scratch;
        const SourceFacts facts = describe_file(write_resolution(scratch, row.x, row.y, row.unit));
        CHECK(facts.scale.has_value() == (row.x_mm > 0));
        CHECK(facts.notes.empty() == (row.x_mm > 0));
        if (!facts.scale || row.x_mm <= 0) continue;
        CHECK(facts.scale->pixel_xy_mm[0] == doctest::Approx(row.x_mm).epsilon(1e-6));
        CHECK(facts.scale->pixel_xy_mm[1] == doctest::Approx(row.y_mm).epsilon(1e-6));
    }
}

TEST_CASE("pages are counted, copies are not pages, a stack is refused in words") {
    const Scratch scratch;
    const TiffKind kind;
    const auto file = scratch / "a.tif";
    for (const auto& [pages, copy] : {std::pair{1, true}, {3, false}}) {
        std::filesystem::remove(file);
        for (int page = 0; page < (copy ? 2 : pages); ++page) {
            TiffKind append = kind;
            append.mode = page == 0 ? "w" : "a";
            const Tiff tiff = create(file, append);
            if (copy && page == 1) TIFFSetField(tiff.get(), TIFFTAG_SUBFILETYPE, FILETYPE_REDUCEDIMAGE);
            write_pixels(tiff.get(), append);
        }
        CHECK(describe_file(file).pages == pages);
        CHECK(refusal(file).empty() == copy);
    }
    CHECK(has(refusal(file), "3 pages"));
    CHECK(has(refusal(file), "slice stack"));
}

TEST_CASE("a stack written as one page with its count in words is a stack") {
    const Scratch scratch;
    const auto file = write_small(scratch, [](TIFF* tiff) {
        TIFFSetField(tiff, TIFFTAG_IMAGEDESCRIPTION, "made by a program\nimages=812\nslices=812\n");
    });
    CHECK(describe_file(file).pages == 812);
    CHECK(has(refusal(file), "slice stack"));
}

TEST_CASE("a list of pages that runs in a circle is refused") {
    const Scratch scratch;
    auto bytes = bytes_of(write_small(scratch, [](TIFF*) {}));
    const std::size_t page = bytes[4] + 256U * bytes[5], tags = bytes[page] + 256U * bytes[page + 1];
    std::memcpy(bytes.data() + page + 2 + 12 * tags, bytes.data() + 4, 4);
    put_bytes(scratch / "b.tif", bytes);
    CHECK(has(refusal(scratch / "b.tif"), "circle"));
}

TEST_CASE("a TIFF cut off anywhere is refused") {
    for (const int compression : {COMPRESSION_NONE, COMPRESSION_LZW, COMPRESSION_ADOBE_DEFLATE}) {
        const Scratch scratch;
        TiffKind kind;
        kind.compression = compression;
        write_pixels(create(scratch / "a.tif", kind).get(), kind);
        const auto bytes = bytes_of(scratch / "a.tif");
        for (std::size_t keep = 1; keep < bytes.size(); keep += 97) {
            put_bytes(scratch / "b.tif", {bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(keep)});
            CHECK_FALSE(refusal(scratch / "b.tif").empty());
        }
    }
}

TEST_CASE("a TIFF whose last strip lies beyond the file is refused") {
    const Scratch scratch;
    TiffKind kind;
    kind.compression = COMPRESSION_LZW; // small file: the header's length alone does not give it away
    write_pixels(create(scratch / "a.tif", kind).get(), kind);
    const Tiff tiff(TIFFOpen((scratch / "a.tif").c_str(), "r"), TIFFClose);
    std::uint64_t* offsets = nullptr;
    REQUIRE(TIFFGetField(tiff.get(), TIFFTAG_STRIPOFFSETS, &offsets) == 1);
    auto bytes = bytes_of(scratch / "a.tif");
    const std::uint32_t last = static_cast<std::uint32_t>(offsets[(height - 1) / kind.rows_per_strip]),
                        beyond = 1U << 30;
    for (std::size_t at = 0; at + 4 <= bytes.size(); ++at)
        if (std::memcmp(bytes.data() + at, &last, 4) == 0) std::memcpy(bytes.data() + at, &beyond, 4);
    put_bytes(scratch / "b.tif", bytes);
    CHECK(has(refusal(scratch / "b.tif"), "cut-off"));
}

TEST_CASE("a TIFF too large is refused from its header, by tiles too") {
    const Scratch scratch;
    const auto claim = [&](int wide, int high, int tile) {
        TiffKind kind{.mode = "w8", .tile = tile};
        kind.compression = COMPRESSION_ADOBE_DEFLATE;
        const Tiff tiff = create(scratch / "a.tif", kind, wide, high);
        std::vector<unsigned char> tile_bytes(static_cast<std::size_t>(tile) *
                                              static_cast<std::size_t>(tile) * 2);
        TIFFWriteEncodedTile(tiff.get(), 0, tile_bytes.data(), static_cast<tmsize_t>(tile_bytes.size()));
    };
    claim(65536, 65536, 256);
    CHECK(has(refusal(scratch / "a.tif"), "2^31 pixels"));
    claim(20000, 20000, 256);
    LoadLimits limits;
    limits.memory_bytes = std::size_t{1000} << 20;
    CHECK(has(refusal(scratch / "a.tif", limits), "memory limit of 1000 MB"));
    claim(16, 16, 4096); // a small picture in one large tile of 32 MB
    limits.memory_bytes = std::size_t{16} << 20;
    CHECK(has(refusal(scratch / "a.tif", limits), "memory limit of 16 MB"));
    limits.memory_bytes = std::size_t{64} << 20;
    CHECK(refusal(scratch / "a.tif", limits).empty());
}

TEST_CASE("a float picture must hold finite numbers") {
    const Scratch scratch;
    const TiffKind kind{.bits = 32, .format = SAMPLEFORMAT_IEEEFP};
    write_pixels(create(scratch / "a.tif", kind).get(), kind);
    const Radiograph read = load_radiograph(scratch / "a.tif");
    CHECK(read.facts.full_scale == 0.5 * (width * height - 1) - 300); // the last pixel
    CHECK(read.facts.lowest_value == -300);
    auto bytes = bytes_of(scratch / "a.tif");
    const float marked = real_value(20, 20, 0), not_a_number = std::nanf("");
    for (std::size_t at = 0; at + 4 <= bytes.size(); ++at)
        if (std::memcmp(bytes.data() + at, &marked, 4) == 0) std::memcpy(bytes.data() + at, &not_a_number, 4);
    put_bytes(scratch / "b.tif", bytes);
    CHECK(has(refusal(scratch / "b.tif"), "not finite"));
}

TEST_CASE("a value that no float holds is rounded, and that is said") {
    const Scratch scratch;
    TiffKind kind{.bits = 32};
    write_pixels(create(scratch / "a.tif", kind).get(), kind);
    CHECK(load_radiograph(scratch / "a.tif").facts.notes.empty());
    auto bytes = bytes_of(scratch / "a.tif");
    const auto marked = static_cast<std::uint32_t>(whole_value(kind, 9, 9, 0));
    const std::uint32_t odd = (1U << 24) + 1;
    for (std::size_t at = 0; at + 4 <= bytes.size(); ++at)
        if (std::memcmp(bytes.data() + at, &marked, 4) == 0) std::memcpy(bytes.data() + at, &odd, 4);
    put_bytes(scratch / "b.tif", bytes);
    const Radiograph read = load_radiograph(scratch / "b.tif");
    CHECK(read.values(9, 9) == 16777216.0F);
    REQUIRE(read.facts.notes.size() == 1);
    CHECK(has(read.facts.notes[0], "rounded"));
}
