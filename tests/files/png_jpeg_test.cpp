// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"

#include <cmath>
#include <cstdio> // jpeglib.h needs it before itself
#include <jpeglib.h>
#include <png.h>
#include <zlib.h>

using namespace ringwall;
using namespace ringwall::test;

namespace {

constexpr int width = 29, height = 23;

struct PngKind {
    int bits = 16;
    int colour = PNG_COLOR_TYPE_GRAY;
    bool interlaced = false;
    png_uint_32 per_m_x = 0, per_m_y = 0;
    int unit = PNG_RESOLUTION_METER;
    int significant = 0;
};

int channels_of(int colour) {
    if (colour == PNG_COLOR_TYPE_RGB) return 3;
    if (colour == PNG_COLOR_TYPE_RGB_ALPHA) return 4;
    return colour == PNG_COLOR_TYPE_GRAY_ALPHA ? 2 : 1;
}

unsigned sample(const PngKind& kind, int x, int y, int channel) {
    const unsigned mixed = static_cast<unsigned>(y * width + x + 701 * channel) * 40503U;
    return (mixed >> 1) & ((1U << kind.bits) - 1);
}

std::vector<png_byte> png_row(const PngKind& kind, int y) {
    const int channels = channels_of(kind.colour);
    std::vector<png_byte> row(static_cast<std::size_t>((width * channels * kind.bits + 7) / 8));
    for (int i = 0; i < width * channels; ++i)
        for (int bit = 0; bit < kind.bits; ++bit) {
            const std::size_t place = static_cast<std::size_t>(i * kind.bits + bit);
            const unsigned value = sample(kind, i / channels, y, i % channels);
            if ((value >> (kind.bits - 1 - bit) & 1U) != 0)
                row[place / 8] |= static_cast<png_byte>(0x80U >> place % 8);
        }
    return row;
}

png_color palette_colour(int i) {
    return {static_cast<png_byte>(i * 3), static_cast<png_byte>(i * 5), static_cast<png_byte>(i * 7)};
}

void write_png_kind(const std::filesystem::path& file, const PngKind& kind) {
    std::FILE* out = std::fopen(file.c_str(), "wb");
    REQUIRE(out != nullptr);
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, nullptr);
    png_infop info = png_create_info_struct(png);
    png_init_io(png, out);
    png_set_IHDR(png, info, width, height, kind.bits, kind.colour,
                 kind.interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
                 PNG_FILTER_TYPE_DEFAULT);
    std::vector<png_color> colours;
    for (int i = 0; i < 1 << kind.bits && kind.colour == PNG_COLOR_TYPE_PALETTE; ++i)
        colours.push_back(palette_colour(i));
    if (!colours.empty()) png_set_PLTE(png, info, colours.data(), static_cast<int>(colours.size()));
    if (kind.per_m_x > 0) png_set_pHYs(png, info, kind.per_m_x, kind.per_m_y, kind.unit);
    png_color_8 significant{};
    significant.gray = static_cast<png_byte>(kind.significant);
    if (kind.significant > 0) png_set_sBIT(png, info, &significant);
    png_write_info(png, info);
    std::vector<std::vector<png_byte>> rows;
    std::vector<png_bytep> starts;
    for (int y = 0; y < height; ++y)
        rows.push_back(png_row(kind, y));
    for (auto& row : rows)
        starts.push_back(row.data());
    png_write_image(png, starts.data());
    png_write_end(png, info);
    png_destroy_write_struct(&png, &info);
    std::fclose(out);
}

double expected(const PngKind& kind, int x, int y) {
    const auto value = [&](int c) { return static_cast<double>(sample(kind, x, y, c)); };
    if (kind.colour == PNG_COLOR_TYPE_PALETTE) {
        const png_color colour = palette_colour(static_cast<int>(value(0)));
        return 0.299 * colour.red + 0.587 * colour.green + 0.114 * colour.blue;
    }
    if ((kind.colour & PNG_COLOR_MASK_COLOR) == 0) return value(0);
    return 0.299 * value(0) + 0.587 * value(1) + 0.114 * value(2);
}

void check_png(const PngKind& kind) {
    CAPTURE(kind.bits);
    CAPTURE(kind.colour);
    CAPTURE(kind.interlaced);
    const Scratch scratch;
    write_png_kind(scratch / "a.png", kind);
    const Radiograph read = load_radiograph(scratch / "a.png");
    REQUIRE(read.values.width() == width);
    REQUIRE(read.values.height() == height);
    int wrong = 0;
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            wrong += read.values(x, y) != doctest::Approx(expected(kind, x, y)).epsilon(1e-6) ? 1 : 0;
    CHECK(wrong == 0);
    const bool palette = kind.colour == PNG_COLOR_TYPE_PALETTE;
    CHECK(read.facts.bits == (palette ? 8 : kind.bits));
    CHECK(read.facts.full_scale == (palette ? 255 : (1 << kind.bits) - 1));
    CHECK(read.facts.colour == ((kind.colour & PNG_COLOR_MASK_COLOR) != 0));
    CHECK(read.facts.notes.empty() == ((kind.colour & PNG_COLOR_MASK_ALPHA) == 0));
}

struct JpegKind {
    bool colour = false;
    bool progressive = false;
    int unit = 0, density = 1;
    J_COLOR_SPACE space = JCS_UNKNOWN;
};

int jpeg_value(int x, int y) {
    return 8 * x + y; // smooth: a JPEG of high quality keeps it within a grey level or two
}

void write_jpeg(const std::filesystem::path& file, const JpegKind& kind) {
    jpeg_compress_struct jpeg{};
    jpeg_error_mgr errors{};
    jpeg.err = jpeg_std_error(&errors);
    jpeg_create_compress(&jpeg);
    std::FILE* out = std::fopen(file.c_str(), "wb");
    REQUIRE(out != nullptr);
    jpeg_stdio_dest(&jpeg, out);
    const int channels = kind.space == JCS_CMYK ? 4 : kind.colour ? 3 : 1;
    jpeg.image_width = width;
    jpeg.image_height = height;
    jpeg.input_components = channels;
    jpeg.in_color_space = kind.space == JCS_CMYK ? JCS_CMYK : kind.colour ? JCS_RGB : JCS_GRAYSCALE;
    jpeg_set_defaults(&jpeg);
    jpeg_set_quality(&jpeg, 100, TRUE);
    if (kind.progressive) jpeg_simple_progression(&jpeg);
    jpeg.density_unit = static_cast<UINT8>(kind.unit);
    jpeg.X_density = jpeg.Y_density = static_cast<UINT16>(kind.density);
    jpeg_start_compress(&jpeg, TRUE);
    for (int y = 0; y < height; ++y) {
        std::vector<JSAMPLE> row;
        for (int i = 0; i < width * channels; ++i)
            row.push_back(static_cast<JSAMPLE>(kind.colour && i % 3 == 0 ? 255 - jpeg_value(i / channels, y)
                                                                         : jpeg_value(i / channels, y)));
        JSAMPROW start = row.data();
        jpeg_write_scanlines(&jpeg, &start, 1);
    }
    jpeg_finish_compress(&jpeg);
    jpeg_destroy_compress(&jpeg);
    std::fclose(out);
}

} // namespace

TEST_CASE("PNG of every kind reads back, straight and interlaced") {
    for (const bool interlaced : {false, true}) {
        for (const int bits : {1, 2, 4, 8, 16})
            check_png({.bits = bits, .interlaced = interlaced});
        for (const int bits : {1, 2, 4, 8})
            check_png({.bits = bits, .colour = PNG_COLOR_TYPE_PALETTE, .interlaced = interlaced});
        for (const int colour : {PNG_COLOR_TYPE_RGB, PNG_COLOR_TYPE_RGB_ALPHA, PNG_COLOR_TYPE_GRAY_ALPHA})
            for (const int bits : {8, 16})
                check_png({.bits = bits, .colour = colour, .interlaced = interlaced});
    }
}

TEST_CASE("PNG says how many of its bits mean something") {
    const Scratch scratch;
    write_png_kind(scratch / "a.png", {.significant = 12});
    const SourceFacts facts = describe_file(scratch / "a.png");
    CHECK(facts.bits == 12);
    CHECK(facts.full_scale == 65535);
}

TEST_CASE("PNG resolution follows the rule of the TIFF resolution") {
    const Scratch scratch;
    write_png_kind(scratch / "a.png", {.per_m_x = 40000, .per_m_y = 50000});
    const SourceFacts facts = describe_file(scratch / "a.png");
    REQUIRE(facts.scale.has_value());
    CHECK(facts.scale->pixel_xy_mm[0] == doctest::Approx(0.025));
    CHECK(facts.scale->pixel_xy_mm[1] == doctest::Approx(0.020));
    CHECK(has(facts.scale->from, "PNG resolution"));
    for (const png_uint_32 per_m : {2835U, 3780U, 5906U, 11811U}) { // 72, 96, 150 and 300 per inch, rounded
        write_png_kind(scratch / "b.png", {.per_m_x = per_m, .per_m_y = per_m});
        CHECK_FALSE(describe_file(scratch / "b.png").scale.has_value());
    }
    write_png_kind(scratch / "c.png", {.per_m_x = 40000, .per_m_y = 40000, .unit = PNG_RESOLUTION_UNKNOWN});
    CHECK_FALSE(describe_file(scratch / "c.png").scale.has_value());
}

TEST_CASE("a PNG cut off anywhere is refused") {
    const Scratch scratch;
    write_png_kind(scratch / "a.png", {});
    const auto bytes = bytes_of(scratch / "a.png");
    for (std::size_t keep = 1; keep < bytes.size(); keep += 13) {
        put_bytes(scratch / "b.png", {bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(keep)});
        CHECK_FALSE(refusal(scratch / "b.png").empty());
    }
}

TEST_CASE("a PNG too large is refused from its header") {
    const Scratch scratch;
    write_png_kind(scratch / "a.png", {.bits = 8});
    auto bytes = bytes_of(scratch / "a.png");
    constexpr std::size_t size_at = 16, sum_at = 29;
    bytes[size_at + 1] = 0x10; // about a million wide
    bytes[size_at + 5] = 0x10;
    const auto sum = static_cast<std::uint32_t>(crc32(0, bytes.data() + 12, 17));
    for (std::size_t i = 0; i < 4; ++i)
        bytes[sum_at + i] = static_cast<unsigned char>(sum >> (24 - 8 * i));
    put_bytes(scratch / "b.png", bytes);
    CHECK(has(refusal(scratch / "b.png"), "2^31 pixels"));
}

TEST_CASE("JPEG reads back within its losses and says so") {
    for (const bool colour : {false, true})
        for (const bool progressive : {false, true}) {
            const Scratch scratch;
            write_jpeg(scratch / "a.jpg", {.colour = colour, .progressive = progressive});
            const Radiograph read = load_radiograph(scratch / "a.jpg");
            CHECK(read.facts.lossy);
            CHECK(read.facts.colour == colour);
            CHECK(read.facts.bits == 8);
            CHECK_FALSE(read.facts.scale.has_value());
            REQUIRE(read.values.width() == width);
            double worst = 0;
            for (int y = 0; y < height; ++y)
                for (int x = 0; x < width; ++x) {
                    const int v = jpeg_value(x, y);
                    const double grey = colour ? 0.299 * (255 - v) + 0.701 * v : v;
                    worst = std::max(worst, std::abs(static_cast<double>(read.values(x, y)) - grey));
                }
            CHECK(worst <= 3); // rounding in both colour changes and the transform; a step of the ramp is 8
        }
}

TEST_CASE("JPEG resolution follows the same rule") {
    const Scratch scratch;
    write_jpeg(scratch / "a.jpg", {.unit = 2, .density = 500});
    const SourceFacts facts = describe_file(scratch / "a.jpg");
    REQUIRE(facts.scale.has_value());
    CHECK(facts.scale->pixel_xy_mm[0] == doctest::Approx(0.02));
    write_jpeg(scratch / "b.jpg", {.unit = 1, .density = 96});
    CHECK_FALSE(describe_file(scratch / "b.jpg").scale.has_value());
}

TEST_CASE("a JPEG cut in half, or anywhere, is refused") {
    for (const bool progressive : {false, true}) {
        const Scratch scratch;
        write_jpeg(scratch / "a.jpg", {.progressive = progressive});
        const auto bytes = bytes_of(scratch / "a.jpg");
        put_bytes(scratch / "b.jpg",
                  {bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(bytes.size() / 2)});
        CHECK(has(refusal(scratch / "b.jpg"), "cut-off JPEG"));
        for (std::size_t keep = 1; keep < bytes.size(); keep += 7) {
            put_bytes(scratch / "b.jpg", {bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(keep)});
            CHECK_FALSE(refusal(scratch / "b.jpg").empty());
        }
    }
}

TEST_CASE("a JPEG with stray bytes in its pixels is refused") {
    const Scratch scratch;
    write_jpeg(scratch / "a.jpg", {});
    auto bytes = bytes_of(scratch / "a.jpg");
    bytes.erase(bytes.end() - 60, bytes.end() - 20);
    put_bytes(scratch / "b.jpg", bytes);
    CHECK_FALSE(refusal(scratch / "b.jpg").empty());
}

TEST_CASE("a JPEG for printing presses is refused in words") {
    const Scratch scratch;
    write_jpeg(scratch / "a.jpg", {.space = JCS_CMYK});
    CHECK(has(refusal(scratch / "a.jpg"), "neither grey nor RGB"));
}
