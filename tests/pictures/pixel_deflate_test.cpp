// SPDX-License-Identifier: Apache-2.0
#include "pictures/pixel_deflate.hpp"

#include "pictures/huffman.hpp"

#include <algorithm>
#include <doctest/doctest.h>
#include <functional>
#include <iterator>
#include <sstream>
#include <string>
#include <vector>
#include <zlib.h>

using namespace ringwall;

namespace {

/// Numbers that look random, the same on every machine.
class Noise {
  public:
    std::uint32_t below(std::uint32_t end) {
        state_ = state_ * 1664525U + 1013904223U;
        return static_cast<std::uint32_t>((std::uint64_t{state_ >> 4} * end) >> 28);
    }

  private:
    std::uint32_t state_ = 11;
};

Image<std::uint32_t> drawn(int width, int height, const std::function<std::uint32_t(int, int)>& colour) {
    Image<std::uint32_t> pixels(width, height);
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x)
            pixels(x, y) = 0xFF000000U | colour(x, y);
    return pixels;
}

std::vector<unsigned char> stored(ImageView<const std::uint32_t> pixels, int first_row, int last_row) {
    std::vector<unsigned char> bytes;
    for (int y = first_row; y < last_row; ++y) {
        bytes.push_back(0);
        for (int x = 0; x < pixels.width(); ++x)
            for (const int shift : {16, 8, 0})
                bytes.push_back(static_cast<unsigned char>(pixels(x, y) >> shift));
    }
    return bytes;
}

/// What zlib's own reader makes of raw deflate; `status`: what it ended with.
std::vector<unsigned char> inflated(std::vector<unsigned char> packed, std::size_t room, int& status) {
    std::vector<unsigned char> bytes(room + 16);
    z_stream stream{};
    REQUIRE(inflateInit2(&stream, -MAX_WBITS) == Z_OK);
    stream.next_in = packed.data();
    stream.avail_in = static_cast<uInt>(packed.size());
    stream.next_out = bytes.data();
    stream.avail_out = static_cast<uInt>(bytes.size());
    status = inflate(&stream, Z_SYNC_FLUSH);
    bytes.resize(stream.total_out);
    CHECK(stream.avail_in == 0);
    inflateEnd(&stream);
    return bytes;
}

void check_band(ImageView<const std::uint32_t> pixels, int first_row, int last_row) {
    const auto plain = stored(pixels, first_row, last_row);
    for (const bool last : {false, true}) {
        const PackedRows packed = pack_rows(pixels, first_row, last_row, last);
        CHECK(packed.size == plain.size());
        CHECK(packed.checksum == adler32(1, plain.data(), static_cast<uInt>(plain.size())));
        int status = Z_DATA_ERROR;
        CHECK(inflated(packed.bytes, plain.size(), status) == plain);
        CHECK(status == (last ? Z_STREAM_END : Z_OK));
    }
}

void check_all(ImageView<const std::uint32_t> pixels) {
    check_band(pixels, 0, pixels.height());
    check_band(pixels, pixels.height() / 2, pixels.height());
}

} // namespace

TEST_CASE("packed rows are read back by zlib, whatever is drawn") {
    Noise noise;
    // Wider than the window of 32768 bytes: 10 923 pixels; one row and one pixel; repeats of 86 and beyond.
    for (const auto& [width, height] :
         {std::pair{1, 1}, {2, 1}, {1, 50}, {86, 3}, {87, 3}, {260, 40}, {11000, 4}}) {
        CAPTURE(width);
        CAPTURE(height);
        check_all(drawn(width, height, [](int, int) { return 0x1C1E24U; }).view());
        check_all(drawn(width, height, [&](int, int) { return 0x010101U * (100 + noise.below(9)); }).view());
        check_all(drawn(width, height, [&](int, int) { return noise.below(1U << 24); }).view());
        check_all(drawn(width, height, [&](int x, int y) {
                      return (x + y) % 7 < 3 ? 0x56BEF5U : 0x010101U * noise.below(200);
                  }).view());
        check_all(drawn(width, height, [](int x, int y) {
                      return static_cast<std::uint32_t>(x * 40503 + y) & 0xFFFFFFU;
                  }).view());
    }
}

TEST_CASE("a grey picture with noise packs as well as zlib packs it at its usual level") {
    Noise noise;
    const auto pixels = drawn(1000, 128, [&](int x, int) {
        std::uint32_t sum = 0; // near a normal distribution, 2.4 shades wide
        for (int k = 0; k < 12; ++k)
            sum += noise.below(241);
        return 0x010101U * (60 + (sum + 50U * static_cast<std::uint32_t>(x / 100)) / 100);
    });
    std::vector<unsigned char> plain = stored(pixels.view(), 0, pixels.height());
    uLongf size = compressBound(plain.size());
    std::vector<unsigned char> by_zlib(size);
    REQUIRE(compress2(by_zlib.data(), &size, plain.data(), plain.size(), 6) == Z_OK);
    CHECK(pack_rows(pixels.view(), 0, pixels.height(), true).bytes.size() < 1.1 * static_cast<double>(size));
}

TEST_CASE("the shortest code of the letters of a text has the length Huffman's method gives by hand") {
    // Counts 5, 9, 12, 13, 16, 45 of 100: words of 4, 4, 3, 3, 3, 1 bits, 224 bits in all. Cormen, Leiserson,
    // Rivest & Stein, Introduction to Algorithms, section on Huffman codes.
    const std::vector<std::uint32_t> counts{45, 13, 12, 16, 9, 5};
    const HuffmanCode code = huffman_code(counts, 15);
    CHECK(code.lengths == std::vector<std::uint8_t>{1, 3, 3, 3, 4, 4});
    std::size_t bits = 0;
    for (std::size_t i = 0; i < counts.size(); ++i)
        bits += counts[i] * code.lengths[i];
    CHECK(bits == 224);
}

TEST_CASE("deflate's own example of words for lengths") {
    // RFC 1951, 3.2.2: ABCDEFGH with lengths 3 3 3 3 3 2 4 4 have words 010 011 100 101 110 00 1110 1111.
    // These counts give these lengths; words are stored first bit lowest.
    const HuffmanCode code = huffman_code(std::vector<std::uint32_t>{10, 10, 10, 10, 10, 20, 5, 5}, 15);
    CHECK(code.lengths == std::vector<std::uint8_t>{3, 3, 3, 3, 3, 2, 4, 4});
    CHECK(code.words == std::vector<std::uint16_t>{0b010, 0b110, 0b001, 0b101, 0b011, 0b00, 0b0111, 0b1111});
}

TEST_CASE("no word is longer than allowed, and all words are used") {
    std::vector<std::uint32_t> counts{1, 1}; // Fibonacci's numbers make the deepest tree
    while (counts.size() < 40)
        counts.push_back(counts[counts.size() - 1] + counts[counts.size() - 2]);
    for (const int longest : {7, 15}) {
        const HuffmanCode code = huffman_code(counts, longest);
        std::uint64_t kraft = 0;
        for (const std::uint8_t length : code.lengths) {
            CHECK(length > 0);
            CHECK(length <= longest);
            kraft += std::uint64_t{1} << (longest - length);
        }
        CHECK(kraft == std::uint64_t{1} << longest);
    }
    CHECK(huffman_code(std::vector<std::uint32_t>{0, 8, 0}, 15).lengths ==
          std::vector<std::uint8_t>{0, 1, 0});
    CHECK(huffman_code(std::vector<std::uint32_t>{0, 0}, 15).lengths == std::vector<std::uint8_t>{0, 0});
}
