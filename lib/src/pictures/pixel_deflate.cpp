// SPDX-License-Identifier: Apache-2.0
#include "pictures/pixel_deflate.hpp"

#include "pictures/huffman.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>
#include <span>
#include <utility>
#include <zlib.h>

namespace ringwall {
namespace {

constexpr std::uint32_t pixel_bytes = 3, window_bytes = 32768;
constexpr std::uint32_t most_pixels = 258 / pixel_bytes; ///< a repeat's longest
constexpr std::uint32_t row_start = 0xFF000000;          ///< stands before every row; no pixel looks like it

// The alphabets of RFC 1951, 3.2.5.
constexpr std::size_t literals = 286, distances = 30, end_of_block = 256, first_length = 257;

/// The symbol of a length or distance and the bits behind it that tell it from the others of that symbol.
struct Coded {
    std::uint32_t symbol, extra_bits, extra;
};

/// Lengths 3 to 258. Four symbols for every power of two; the longest has one of its own.
constexpr Coded coded_length(std::uint32_t length) {
    if (length == 258) return {28, 0, 0};
    const std::uint32_t from = length - 3;
    const std::uint32_t bits = from < 8 ? 0 : static_cast<std::uint32_t>(std::bit_width(from)) - 3;
    return {4 * bits + (from >> bits), bits, from & ((1U << bits) - 1)};
}

/// Distances 1 to 32768. Two symbols for every power of two.
constexpr Coded coded_distance(std::uint32_t distance) {
    const std::uint32_t from = distance - 1;
    const std::uint32_t bits = from < 4 ? 0 : static_cast<std::uint32_t>(std::bit_width(from)) - 2;
    return {2 * bits + (from >> bits), bits, from & ((1U << bits) - 1)};
}

/// What a block is made of, 32 bits each: a pixel as it is, `row_start`, or a repeat.
class Token {
  public:
    static constexpr std::uint32_t repeat_mark = 0x80000000;
    static std::uint32_t repeat(std::uint32_t pixels, std::uint32_t distance_bytes) {
        return repeat_mark | pixels << 16 | (distance_bytes - 1);
    }
    static bool is_repeat(std::uint32_t token) { return token >> 24 == repeat_mark >> 24; }
    static std::uint32_t length(std::uint32_t token) { return (token >> 16 & 0xFF) * pixel_bytes; }
    static std::uint32_t distance(std::uint32_t token) { return (token & 0xFFFF) + 1; }
};

struct Counts {
    std::array<std::uint32_t, literals> literal{};
    std::array<std::uint32_t, distances> distance{};
};

/// The rows as the packer sees them: `row_start` and the pixels, without the unused byte, and one more
/// `row_start` that ends every comparison.
void set_plain_rows(ImageView<const std::uint32_t> pixels, int first_row, int last_row,
                    std::vector<std::uint32_t>& plain) {
    plain.clear();
    for (int y = first_row; y < last_row; ++y) {
        plain.push_back(row_start);
        const std::uint32_t* row = pixels.row(y);
        plain.insert(plain.end(), row, row + pixels.width());
        for (auto pixel = plain.end() - pixels.width(); pixel != plain.end(); ++pixel)
            *pixel &= 0xFFFFFF;
    }
    plain.push_back(row_start);
}

unsigned long checksum_of(ImageView<const std::uint32_t> pixels, int first_row, int last_row) {
    std::vector<unsigned char> bytes(1 + pixel_bytes * static_cast<std::size_t>(pixels.width()));
    unsigned long checksum = 1;
    for (int y = first_row; y < last_row; ++y) {
        const std::uint32_t* row = pixels.row(y);
        unsigned char* to = bytes.data() + 1;
        for (int x = 0; x < pixels.width(); ++x, to += pixel_bytes) {
            to[0] = static_cast<unsigned char>(row[x] >> 16);
            to[1] = static_cast<unsigned char>(row[x] >> 8);
            to[2] = static_cast<unsigned char>(row[x]);
        }
        checksum = adler32(checksum, bytes.data(), static_cast<uInt>(bytes.size()));
    }
    return checksum;
}

/// Where a pixel, or two, were seen last.
class Seen {
  public:
    struct Place {
        std::uint32_t index = 0; ///< in the plain rows; 0, a row's start, is nowhere
        std::uint32_t byte = 0;  ///< of what is packed
    };
    /// What was seen with this key; this place takes its stead.
    Place replace(std::uint32_t key, Place by) {
        Place& place = places_[key * 0x9E3779B1U >> (32 - bits)];
        return std::exchange(place, by);
    }

  private:
    static constexpr int bits = 12;
    std::array<Place, std::size_t{1} << bits> places_{};
};

/// Greedy: at each pixel the last place where this and the next were seen, else where this one was.
class Repeats {
  public:
    explicit Repeats(const std::vector<std::uint32_t>& plain) : plain_(plain) {}

    void find(std::vector<std::uint32_t>& tokens, Counts& counts) {
        while (here_.index + 1 < plain_.size()) {
            if (plain_[here_.index] == row_start)
                start_row(tokens, counts);
            else
                step(tokens, counts);
        }
    }

  private:
    void start_row(std::vector<std::uint32_t>& tokens, Counts& counts) {
        tokens.push_back(row_start);
        ++counts.literal[0];
        ++here_.index, ++here_.byte;
    }
    void step(std::vector<std::uint32_t>& tokens, Counts& counts) {
        const std::uint32_t pixel = plain_[here_.index];
        const Seen::Place two = pairs_.replace(pair_key(pixel), here_), one = singles_.replace(pixel, here_);
        Seen::Place from = two;
        std::uint32_t length = alike(two);
        if (length < 2) from = one, length = alike(one);
        if (length == 0) {
            tokens.push_back(pixel);
            ++counts.literal[pixel >> 16], ++counts.literal[pixel >> 8 & 0xFF],
                ++counts.literal[pixel & 0xFF];
            go_on();
            return;
        }
        const std::uint32_t distance = here_.byte - from.byte;
        tokens.push_back(Token::repeat(length, distance));
        ++counts.literal[first_length + coded_length(length * pixel_bytes).symbol];
        ++counts.distance[coded_distance(distance).symbol];
        pass(length);
    }
    /// How many pixels from here on are like those at the other place.
    [[nodiscard]] std::uint32_t alike(Seen::Place there) const {
        if (there.index == 0 || here_.byte - there.byte > window_bytes) return 0;
        const std::uint32_t *a = &plain_[here_.index], *b = &plain_[there.index];
        std::uint32_t n =
            0; // no row's start lies in a run: it would have to be like a pixel, or like another
        while (n < most_pixels && a[n] == b[n] && a[n] != row_start)
            ++n;
        return n;
    }
    /// Over a repeat; its first pixels are worth remembering.
    void pass(std::uint32_t length) {
        go_on();
        for (std::uint32_t k = 1; k < length; ++k, go_on()) {
            if (k > 4) continue;
            const std::uint32_t pixel = plain_[here_.index];
            pairs_.replace(pair_key(pixel), here_), singles_.replace(pixel, here_);
        }
    }
    [[nodiscard]] std::uint32_t pair_key(std::uint32_t pixel) const {
        return pixel + plain_[here_.index + 1] * 0x85EBCA6BU;
    }
    void go_on() { ++here_.index, here_.byte += pixel_bytes; }

    const std::vector<std::uint32_t>& plain_;
    Seen singles_, pairs_;
    Seen::Place here_;
};

/// Bits, the first lowest, as deflate counts them.
class BitWriter {
  public:
    /// Into memory that holds at least `most_bytes` and grows where it does not.
    BitWriter(std::vector<unsigned char>& bytes, std::size_t most_bytes) : bytes_(bytes) {
        if (bytes_.size() < most_bytes + sizeof held_) bytes_.resize(most_bytes + sizeof held_);
    }
    void put(std::uint32_t bits, std::uint32_t count) { // up to 16, and 48 between two calls of settle
        held_ |= std::uint64_t{bits} << count_;
        count_ += count;
    }
    void settle() {
        for (std::size_t k = 0; k < sizeof held_; ++k) // one store on machines that count bytes so
            bytes_[used_ + k] = static_cast<unsigned char>(held_ >> 8 * k);
        used_ += count_ / 8;
        held_ >>= count_ & ~7U;
        count_ &= 7;
    }
    void fill_byte() {
        count_ = (count_ + 7) & ~7U;
        settle();
    }
    [[nodiscard]] std::vector<unsigned char> written() const {
        return {bytes_.begin(), bytes_.begin() + static_cast<std::ptrdiff_t>(used_)};
    }

  private:
    std::vector<unsigned char>& bytes_;
    std::size_t used_ = 0;
    std::uint64_t held_ = 0;
    std::uint32_t count_ = 0;
};

/// RFC 1951, 3.2.7: how long the words of both codes are, itself in a code.
void write_codes(BitWriter& out, const HuffmanCode& literal, const HuffmanCode& distance) {
    constexpr std::array<std::size_t, 19> order{16, 17, 18, 0, 8,  7, 9,  6, 10, 5,
                                                11, 4,  12, 3, 13, 2, 14, 1, 15};
    std::vector<std::uint8_t> lengths = literal.lengths;
    lengths.insert(lengths.end(), distance.lengths.begin(), distance.lengths.end());
    std::array<std::uint32_t, order.size()> counts{};
    counts[0] = counts[1] = 1; // two at least, so that the code is whole
    for (const std::uint8_t length : lengths)
        ++counts[length];
    const HuffmanCode code = huffman_code(counts, 7);
    out.put(literals - 257, 5);
    out.put(distances - 1, 5);
    out.put(order.size() - 4, 4);
    out.settle();
    for (const std::size_t symbol : order)
        out.put(code.lengths[symbol], 3), out.settle();
    for (const std::uint8_t length : lengths)
        out.put(code.words[length], code.lengths[length]), out.settle();
}

struct Words {
    HuffmanCode literal, distance;
    void put_literal(BitWriter& out, std::size_t symbol) const {
        out.put(literal.words[symbol], literal.lengths[symbol]);
    }
    void put(BitWriter& out, std::uint32_t token) const {
        if (Token::is_repeat(token)) {
            const Coded length = coded_length(Token::length(token)),
                        back = coded_distance(Token::distance(token));
            put_literal(out, first_length + length.symbol);
            out.put(length.extra, length.extra_bits);
            out.put(distance.words[back.symbol], distance.lengths[back.symbol]);
            out.put(back.extra, back.extra_bits);
        } else if (token == row_start) {
            put_literal(out, 0);
        } else {
            put_literal(out, token >> 16), put_literal(out, token >> 8 & 0xFF),
                put_literal(out, token & 0xFF);
        }
        out.settle();
    }
};

std::vector<unsigned char> block_of(std::span<const std::uint32_t> tokens, Counts counts, bool last,
                                    std::vector<unsigned char>& room) {
    counts.literal[end_of_block] = 1;
    const Words words{huffman_code(counts.literal, 15), huffman_code(counts.distance, 15)};
    BitWriter out(room, tokens.size() * 6 + 512); // 48 bits a token, and the codes
    out.put(last ? 1 : 0, 1);
    out.put(2, 2); // codes of its own
    write_codes(out, words.literal, words.distance);
    for (const std::uint32_t token : tokens)
        words.put(out, token);
    words.put_literal(out, end_of_block);
    if (!last) out.put(0, 3); // an empty stored block
    out.fill_byte();
    if (!last) out.put(0, 16), out.put(0xFFFF, 16), out.settle();
    return out.written();
}

/// What is between pixels and packed bytes.
struct Room {
    std::vector<std::uint32_t> plain, tokens;
    std::vector<unsigned char> bytes;
};

} // namespace

PackedRows pack_rows(ImageView<const std::uint32_t> pixels, int first_row, int last_row, bool last) {
    thread_local Room room; // fresh memory for every band would cost as much as the packing
    set_plain_rows(pixels, first_row, last_row, room.plain);
    room.tokens.clear();
    Counts counts;
    Repeats(room.plain).find(room.tokens, counts);
    PackedRows packed;
    packed.bytes = block_of(room.tokens, counts, last, room.bytes);
    packed.checksum = checksum_of(pixels, first_row, last_row);
    packed.size = static_cast<std::size_t>(last_row - first_row) *
                  (1 + pixel_bytes * static_cast<std::size_t>(pixels.width()));
    return packed;
}

} // namespace ringwall
