// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/scratch.hpp"
#include "ringwall/slice_stack.hpp"

#include <cstring>
#include <tiffio.h>

namespace ringwall::test {

/// The stack that the tests write: every voxel of 16 bits is another number, so that neither a wrong slice
/// nor a shifted or turned one can pass.
inline constexpr int stack_width = 13, stack_height = 7, stack_slices = 12;

inline unsigned voxel(int x, int y, int z) {
    return static_cast<unsigned>(1 + x + stack_width * (y + stack_height * z)) * 53U; // under 65536
}

/// How a stack's numbers are stored.
struct StackKind {
    int bits = 16;
    bool is_float = false, is_signed = false, big_endian = false;
    [[nodiscard]] float expected(int x, int y, int z) const {
        const unsigned value = voxel(x, y, z);
        if (bits == 8 && is_signed) return static_cast<float>(static_cast<std::int8_t>(value));
        if (bits == 8) return static_cast<float>(value & 0xFFU);
        if (is_float) return static_cast<float>(value) / 64 - 100; // exact: 16 bits and a shift
        return is_signed && bits == 16 ? static_cast<float>(static_cast<std::int16_t>(value))
                                       : static_cast<float>(value);
    }
    void put(std::string& bytes, int x, int y, int z) const {
        std::uint64_t word = voxel(x, y, z);
        const float real = expected(x, y, z);
        const double wide = real;
        if (is_float && bits == 32) {
            std::uint32_t four;
            std::memcpy(&four, &real, sizeof four);
            word = four;
        } else if (is_float) {
            std::memcpy(&word, &wide, sizeof word);
        }
        for (int i = 0; i < bits / 8; ++i)
            bytes += static_cast<char>(word >> (8 * (big_endian ? bits / 8 - 1 - i : i)));
    }
    [[nodiscard]] std::string slice(int z) const {
        std::string bytes;
        for (int y = 0; y < stack_height; ++y)
            for (int x = 0; x < stack_width; ++x)
                put(bytes, x, y, z);
        return bytes;
    }
    [[nodiscard]] std::string all(int slices = stack_slices) const {
        std::string bytes;
        for (int z = 0; z < slices; ++z)
            bytes += slice(z);
        return bytes;
    }
};

/// Voxels of a slice that differ from what was written; `z` of the stack is slice `z` as written.
inline int wrong_voxels(const SliceStack& stack, const StackKind& kind, int z) {
    Image<float> slice(stack.width(), stack.height());
    stack.read_slice(z, slice.view());
    int wrong = 0;
    for (int y = 0; y < slice.height(); ++y)
        for (int x = 0; x < slice.width(); ++x)
            wrong += slice(x, y) != kind.expected(x, y, z) ? 1 : 0;
    return wrong;
}

inline void check_stack(const SliceStack& stack, const StackKind& kind = {}, int slices = stack_slices) {
    REQUIRE(stack.width() == stack_width);
    REQUIRE(stack.height() == stack_height);
    REQUIRE(stack.slices() == slices);
    CHECK(stack.facts().source.bits == kind.bits);
    CHECK(stack.facts().source.is_float == kind.is_float);
    CHECK(stack.facts().source.sha256.empty());
    CHECK_FALSE(stack.facts().source.scale.has_value());
    for (int z = slices - 1; z >= 0; --z) // backwards: no reader may count on the order
        CHECK(wrong_voxels(stack, kind, z) == 0);
}

inline void check_stack(const std::filesystem::path& source, const StackKind& kind = {},
                        int slices = stack_slices) {
    check_stack(open_stack(source), kind, slices);
}

/// The line with which a source is refused as a stack, at opening or at the first slice that cannot be read;
/// "" when every slice is read.
inline std::string stack_refusal(const std::filesystem::path& source, Fault fault = Fault::input,
                                 const LoadLimits& limits = {}) {
    try {
        const SliceStack stack = open_stack(source, limits);
        Image<float> slice(stack.width(), stack.height());
        for (int z = 0; z < stack.slices(); ++z)
            stack.read_slice(z, slice.view());
        return {};
    } catch (const Error& error) {
        CHECK(error.fault() == fault);
        CHECK_FALSE(has(error.what(), "\n"));
        return error.what();
    }
}

/// True when the source is refused from its headers alone.
inline bool refused_at_opening(const std::filesystem::path& source) {
    try {
        open_stack(source);
        return false;
    } catch (const Error&) {
        return true;
    }
}

inline bool noted(const SliceStack& stack, const std::string& part) {
    for (const std::string& note : stack.facts().source.notes)
        if (has(note, part)) return true;
    return false;
}

/// How a TIFF of several pages is written.
struct TiffStackKind {
    const char* mode = "wl"; ///< libtiff's: b, l byte order; 8 BigTIFF
    StackKind numbers = {};
    int compression = COMPRESSION_NONE;
    int tile = 0;
    int rows_per_strip = 3;
    int photometric = PHOTOMETRIC_MINISBLACK;
    std::string description = {};
    double per_unit = 0; ///< resolution
    int unit = RESUNIT_CENTIMETER;
};

inline void write_tiff_page(TIFF* tiff, const TiffStackKind& kind, int z, int height = stack_height) {
    const StackKind& numbers = kind.numbers;
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, stack_width);
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, height);
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, numbers.bits);
    TIFFSetField(tiff, TIFFTAG_SAMPLEFORMAT,
                 numbers.is_float    ? SAMPLEFORMAT_IEEEFP
                 : numbers.is_signed ? SAMPLEFORMAT_INT
                                     : SAMPLEFORMAT_UINT);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, 1);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, kind.photometric);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, kind.compression);
    if (z == 0 && !kind.description.empty())
        TIFFSetField(tiff, TIFFTAG_IMAGEDESCRIPTION, kind.description.c_str());
    if (kind.per_unit > 0) {
        TIFFSetField(tiff, TIFFTAG_XRESOLUTION, kind.per_unit);
        TIFFSetField(tiff, TIFFTAG_YRESOLUTION, kind.per_unit);
        TIFFSetField(tiff, TIFFTAG_RESOLUTIONUNIT, kind.unit);
    }
    StackKind native = numbers;
    native.big_endian = false; // the library turns the machine's order into the file's
    const std::size_t bytes = static_cast<std::size_t>(numbers.bits) / 8;
    if (kind.tile == 0) {
        TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, kind.rows_per_strip);
        std::string rows = native.slice(z);
        for (int y = 0; y < height; ++y)
            REQUIRE(TIFFWriteScanline(tiff, rows.data() + static_cast<std::size_t>(y) * stack_width * bytes,
                                      static_cast<std::uint32_t>(y), 0) == 1);
    } else {
        TIFFSetField(tiff, TIFFTAG_TILEWIDTH, kind.tile);
        TIFFSetField(tiff, TIFFTAG_TILELENGTH, kind.tile);
        std::string tile;
        for (int y = 0; y < kind.tile; ++y)
            for (int x = 0; x < kind.tile; ++x)
                native.put(tile, x, y, z);
        REQUIRE(TIFFWriteTile(tiff, tile.data(), 0, 0, 0, 0) > 0);
    }
    REQUIRE(TIFFWriteDirectory(tiff) == 1);
}

inline std::filesystem::path write_tiff_stack(const std::filesystem::path& file,
                                              const TiffStackKind& kind = {}, int slices = stack_slices) {
    const std::unique_ptr<TIFF, void (*)(TIFF*)> tiff(TIFFOpen(file.c_str(), kind.mode), TIFFClose);
    REQUIRE(tiff);
    for (int z = 0; z < slices; ++z)
        write_tiff_page(tiff.get(), kind, z);
    return file;
}

/// A stack as one page with everything behind it, written byte by byte.
struct SingleDirectory {
    bool big_endian = false;
    int counted = stack_slices;    ///< by the description
    int held = stack_slices;       ///< in truth
    std::string more = "";         ///< lines for the description
    std::size_t beyond = 0;        ///< bytes behind the last slice
    bool directory_at_end = false; ///< behind the pixels
    [[nodiscard]] std::string number(std::uint64_t value, int size) const {
        std::string bytes;
        for (int i = 0; i < size; ++i)
            bytes += static_cast<char>(value >> (8 * (big_endian ? size - 1 - i : i)));
        return bytes;
    }
    [[nodiscard]] std::string entry(unsigned tag, unsigned type, std::uint64_t count,
                                    std::uint64_t value) const {
        const std::string head = number(tag, 2) + number(type, 2) + number(count, 4);
        return head + (type == 3 ? number(value, 2) + number(0, 2) : number(value, 4));
    }
    [[nodiscard]] std::string bytes() const {
        StackKind kind;
        kind.big_endian = big_endian;
        const std::string words = "images=" + std::to_string(counted) +
                                  "\nslices=" + std::to_string(counted) + "\n" + more + std::string(1, '\0');
        const std::string pixels = kind.all(held) + std::string(beyond, 'x');
        constexpr std::size_t header = 8, entries = 10, directory_bytes = 2 + 12 * entries + 4;
        const std::size_t directory = header + (directory_at_end ? pixels.size() : 0),
                          text = directory + directory_bytes,
                          data = directory_at_end ? header : text + words.size();
        std::string ifd = number(entries, 2);
        ifd += entry(256, 4, 1, stack_width) + entry(257, 4, 1, stack_height) + entry(258, 3, 1, 16);
        ifd += entry(259, 3, 1, 1) + entry(262, 3, 1, 1) + entry(270, 2, words.size(), text);
        ifd += entry(273, 4, 1, data) + entry(277, 3, 1, 1) + entry(278, 3, 1, stack_height);
        ifd += entry(279, 4, 1, std::uint64_t{stack_width} * stack_height * 2) + number(0, 4);
        const std::string start = (big_endian ? "MM" : "II") + number(42, 2) + number(directory, 4);
        return directory_at_end ? start + pixels + ifd + words : start + ifd + words + pixels;
    }
};

} // namespace ringwall::test
