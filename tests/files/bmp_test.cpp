// SPDX-License-Identifier: Apache-2.0
#include "files/scratch.hpp"

#include <array>

using namespace ringwall;
using namespace ringwall::test;

namespace {

using Bytes = std::vector<unsigned char>;

void add(Bytes& bytes, std::uint64_t value, int size) {
    for (int i = 0; i < size; ++i)
        bytes.push_back(static_cast<unsigned char>(value >> (8 * i)));
}

struct BmpKind {
    int bits = 24;
    bool top_down = false;
    std::uint32_t packing = 0;
    std::array<std::uint32_t, 3> masks{};
    std::uint32_t colours = 0; ///< palette entries stated; 0: all
    std::uint32_t per_m = 0;
};

constexpr int width = 7, height = 5;

/// Differs from pixel to pixel.
unsigned value(int x, int y) {
    return static_cast<unsigned>(1 + x + y * width) * 6U;
}

/// A 40-byte header in front of rows that the caller packs.
template<typename PackRow>
Bytes bmp(const BmpKind& kind, PackRow pack_row) {
    const std::uint32_t entries = kind.bits > 8 ? 0 : kind.colours > 0 ? kind.colours : 1U << kind.bits;
    const std::uint32_t offset = 54 + (kind.packing == 3 ? 12 : 0) + 4 * entries;
    Bytes bytes = {'B', 'M'};
    add(bytes, 0, 8);
    add(bytes, offset, 4);
    add(bytes, 40, 4);
    add(bytes, width, 4);
    add(bytes, kind.top_down ? static_cast<std::uint32_t>(-height) : height, 4);
    add(bytes, 1, 2);
    add(bytes, static_cast<unsigned>(kind.bits), 2);
    add(bytes, kind.packing, 4);
    add(bytes, 0, 4);
    add(bytes, kind.per_m, 4);
    add(bytes, kind.per_m, 4);
    add(bytes, kind.colours, 4);
    add(bytes, 0, 4);
    for (const std::uint32_t mask : kind.masks)
        if (kind.packing == 3) add(bytes, mask, 4);
    for (std::uint32_t i = 0; i < entries; ++i)
        add(bytes, (i << 16 | i << 8 | i) * (kind.bits == 8 ? 1 : 16), 4);
    for (int row = 0; row < height; ++row) {
        Bytes packed = pack_row(kind.top_down ? row : height - 1 - row);
        packed.resize((packed.size() + 3) / 4 * 4);
        bytes.insert(bytes.end(), packed.begin(), packed.end());
    }
    return bytes;
}

template<typename Expected>
void check(const Bytes& bytes, Expected expected) {
    const Scratch scratch;
    put_bytes(scratch / "a.bmp", bytes);
    const Radiograph read = load_radiograph(scratch / "a.bmp");
    REQUIRE(read.values.width() == width);
    REQUIRE(read.values.height() == height);
    CHECK(read.facts.format == "BMP");
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            CHECK(read.values(x, y) == doctest::Approx(expected(x, y)).epsilon(1e-6));
}

Bytes row24(int y) {
    Bytes row;
    for (int x = 0; x < width; ++x) // blue, green, red
        for (const unsigned part : {value(x, y), value(x, y) / 2, value(x, y) / 3})
            row.push_back(static_cast<unsigned char>(part));
    return row;
}

double grey24(int x, int y) {
    const unsigned v = value(x, y);
    return 0.299 * (v / 3) + 0.587 * (v / 2) + 0.114 * v;
}

} // namespace

TEST_CASE("BMP of 24 bits reads back, from the bottom and from the top") {
    check(bmp({}, row24), grey24);
    check(bmp({.top_down = true}, row24), grey24);
}

TEST_CASE("BMP with a palette of grey reads back as grey") {
    const auto bytes = bmp({.bits = 8}, [](int y) {
        Bytes row;
        for (int x = 0; x < width; ++x)
            row.push_back(static_cast<unsigned char>(value(x, y)));
        return row;
    });
    check(bytes, [](int x, int y) { return value(x, y); });
    const Scratch scratch;
    put_bytes(scratch / "a.bmp", bytes);
    CHECK_FALSE(load_radiograph(scratch / "a.bmp").facts.colour);
    check(bmp({.bits = 4},
              [](int y) {
                  Bytes row((width + 1) / 2);
                  for (int x = 0; x < width; ++x)
                      row[static_cast<std::size_t>(x / 2)] |=
                          static_cast<unsigned char>((value(x, y) % 16) << (x % 2 == 0 ? 4 : 0));
                  return row;
              }),
          [](int x, int y) { return value(x, y) % 16 * 16; });
}

TEST_CASE("BMP of 32 bits and with masks reads back") {
    check(bmp({.bits = 32},
              [](int y) {
                  Bytes row;
                  for (int x = 0; x < width; ++x)
                      add(row, value(x, y) << 16 | value(x, y) << 8 | value(x, y) | 0x77U << 24, 4);
                  return row;
              }),
          [](int x, int y) { return value(x, y); });
    check(bmp({.bits = 16, .packing = 3, .masks = {0xF800, 0x07E0, 0x001F}},
              [](int y) {
                  Bytes row;
                  for (int x = 0; x < width; ++x)
                      add(row, (value(x, y) >> 3) << 11 | (value(x, y) >> 2) << 5 | value(x, y) >> 3, 2);
                  return row;
              }),
          [](int x, int y) {
              const auto spread = [](unsigned v, unsigned most) {
                  return static_cast<double>((v * 255 + most / 2) / most);
              };
              return 0.413 * spread(value(x, y) >> 3, 31) + 0.587 * spread(value(x, y) >> 2, 63);
          });
}

TEST_CASE("BMP resolution follows the rule of the TIFF resolution") {
    const Scratch scratch;
    put_bytes(scratch / "a.bmp", bmp({.per_m = 40000}, row24));
    const SourceFacts facts = describe_file(scratch / "a.bmp");
    REQUIRE(facts.scale.has_value());
    CHECK(facts.scale->pixel_xy_mm[0] == doctest::Approx(0.025));
    put_bytes(scratch / "b.bmp", bmp({.per_m = 2835}, row24));
    CHECK_FALSE(describe_file(scratch / "b.bmp").scale.has_value());
}

TEST_CASE("a damaged BMP is refused in words") {
    const Scratch scratch;
    const auto refused = [&](const Bytes& bytes) {
        put_bytes(scratch / "a.bmp", bytes);
        return refusal(scratch / "a.bmp");
    };
    const Bytes whole = bmp({}, row24);
    for (std::size_t keep = 2; keep < whole.size(); ++keep)
        CHECK_FALSE(refused({whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(keep)}).empty());
    CHECK(has(refused({whole.begin(), whole.end() - 1}), "expected 174 bytes, got 173"));
    CHECK(has(refused(bmp({.bits = 8, .packing = 1}, row24)), "packed"));
    CHECK(has(refused(bmp({.bits = 8, .colours = 3}, [](int) { return Bytes(width, 3); })), "palette"));
    Bytes overlapping = whole;
    overlapping[10] = 20;
    CHECK(has(refused(overlapping), "overlap"));
    Bytes large = whole;
    large[20] = large[24] = 0x7F; // 0x7F0007 by 0x7F0005
    CHECK(has(refused(large), "2^31 pixels"));
}
