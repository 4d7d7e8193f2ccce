// SPDX-License-Identifier: Apache-2.0
#include "pictures/png_file.hpp"

#include "bridge/parallel.hpp"
#include "ringwall/error.hpp"

#include <algorithm>
#include <csetjmp>
#include <cstdio>
#include <memory>
#include <new>
#include <png.h>
#include <vector>
#include <zlib.h>

namespace ringwall {
namespace {

constexpr int band_pixels = 1 << 17; ///< packed at a time: any number of threads writes the same bytes
constexpr int pixel_bytes = 3;
/// Noise repeats only by chance: looking longer for it takes five times the time and saves a tenth.
constexpr int zlib_level = 2;

struct CloseFile {
    void operator()(std::FILE* file) const { std::fclose(file); }
};
using File = std::unique_ptr<std::FILE, CloseFile>;

/// Some rows of a picture, packed on their own.
struct PackedRows {
    std::vector<unsigned char> bytes; ///< deflate blocks that end on a byte, without header and checksum
    uLong checksum = 1;               ///< Adler-32 of what was packed
    z_off_t size = 0;                 ///< of that, bytes
};

/// Rows as PNG stores them unfiltered: a zero, then R, G, B of every pixel.
std::vector<unsigned char> plain_rows(ImageView<const std::uint32_t> pixels, int first_row, int last_row) {
    const std::size_t row_bytes = 1 + pixel_bytes * static_cast<std::size_t>(pixels.width());
    std::vector<unsigned char> plain(row_bytes * static_cast<std::size_t>(last_row - first_row));
    unsigned char* out = plain.data();
    for (int y = first_row; y < last_row; ++y) {
        *out++ = 0;
        const std::uint32_t* row = pixels.row(y);
        for (int x = 0; x < pixels.width(); ++x) {
            *out++ = static_cast<unsigned char>(row[x] >> 16);
            *out++ = static_cast<unsigned char>(row[x] >> 8);
            *out++ = static_cast<unsigned char>(row[x]);
        }
    }
    return plain;
}

/// Rows [first_row, last_row); `last` ends the stream, else an empty block fills the byte.
PackedRows pack_rows(ImageView<const std::uint32_t> pixels, int first_row, int last_row, bool last) {
    std::vector<unsigned char> plain = plain_rows(pixels, first_row, last_row);
    z_stream stream{};
    if (deflateInit2(&stream, zlib_level, Z_DEFLATED, -MAX_WBITS, MAX_MEM_LEVEL, Z_DEFAULT_STRATEGY) != Z_OK)
        throw std::bad_alloc();
    PackedRows packed;
    packed.bytes.resize(deflateBound(&stream, static_cast<uLong>(plain.size())) + 16);
    stream.next_in = plain.data();
    stream.avail_in = static_cast<uInt>(plain.size());
    stream.next_out = packed.bytes.data();
    stream.avail_out = static_cast<uInt>(packed.bytes.size());
    deflate(&stream, last ? Z_FINISH : Z_FULL_FLUSH);
    packed.bytes.resize(packed.bytes.size() - stream.avail_out);
    deflateEnd(&stream);
    packed.checksum = adler32(1, plain.data(), static_cast<uInt>(plain.size()));
    packed.size = static_cast<z_off_t>(plain.size());
    return packed;
}

/// The bands one after the other are one zlib stream (RFC 1950): two bytes before it, the checksum of all
/// behind.
std::vector<PackedRows> zlib_stream(ImageView<const std::uint32_t> pixels) {
    const int height = pixels.height(), rows = std::max(1, band_pixels / pixels.width());
    const int count = (height + rows - 1) / rows;
    std::vector<PackedRows> bands(static_cast<std::size_t>(count));
    bridge::over_rows(count, [&](int first, int last) {
        for (int i = first; i < last; ++i)
            bands[static_cast<std::size_t>(i)] =
                pack_rows(pixels, i * rows, std::min(height, (i + 1) * rows), i + 1 == count);
    });
    uLong checksum = 1;
    for (const PackedRows& band : bands)
        checksum = adler32_combine(checksum, band.checksum, band.size);
    constexpr unsigned char head[] = {0x78, 0x01};
    bands.front().bytes.insert(bands.front().bytes.begin(), std::begin(head), std::end(head));
    for (int shift = 24; shift >= 0; shift -= 8)
        bands.back().bytes.push_back(static_cast<unsigned char>(checksum >> shift));
    return bands;
}

void on_error(png_structp png, png_const_charp /*message*/) {
    std::longjmp(png_jmpbuf(png), 1);
}
void on_warning(png_structp /*png*/, png_const_charp /*message*/) {}

using Sink = void (*)(png_structp png, png_bytep bytes, png_size_t count);

void to_file(png_structp png, png_bytep bytes, png_size_t count) {
    auto* file = static_cast<std::FILE*>(png_get_io_ptr(png));
    if (std::fwrite(bytes, 1, count, file) != count) png_error(png, "cannot write");
}
void to_string(png_structp png, png_bytep bytes, png_size_t count) {
    static_cast<std::string*>(png_get_io_ptr(png))->append(reinterpret_cast<const char*>(bytes), count);
}
void nothing_to_flush(png_structp /*png*/) {}

/// False when libpng gave up. Nothing with a destructor is made between setjmp and the end.
bool write_chunks(png_structp png, png_infop info, void* target, Sink sink,
                  ImageView<const std::uint32_t> pixels, const std::vector<PackedRows>& bands) {
    if (setjmp(png_jmpbuf(png)) != 0) return false;
    png_set_write_fn(png, target, sink, nothing_to_flush);
    png_set_IHDR(png, info, static_cast<png_uint_32>(pixels.width()),
                 static_cast<png_uint_32>(pixels.height()), 8, PNG_COLOR_TYPE_RGB, PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    png_write_info(png, info);
    for (const PackedRows& band : bands)
        png_write_chunk(png, reinterpret_cast<png_const_bytep>("IDAT"), band.bytes.data(), band.bytes.size());
    png_write_chunk(png, reinterpret_cast<png_const_bytep>("IEND"), nullptr, 0);
    return true;
}

bool write_png(void* target, Sink sink, ImageView<const std::uint32_t> pixels) {
    const std::vector<PackedRows> bands = zlib_stream(pixels);
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, on_error, on_warning);
    png_infop info = png != nullptr ? png_create_info_struct(png) : nullptr;
    const bool written = info != nullptr && write_chunks(png, info, target, sink, pixels, bands);
    png_destroy_write_struct(&png, &info);
    return written;
}

} // namespace

void write_rgb_png(const std::filesystem::path& file, ImageView<const std::uint32_t> pixels) {
    const auto failed = [&] { return Error(Fault::input, "cannot write " + file.string()); };
    File out(std::fopen(file.c_str(), "wb"));
    if (!out) throw failed();
    const bool written = write_png(out.get(), to_file, pixels);
    const bool closed = std::fclose(out.release()) == 0;
    if (!written || !closed) throw failed();
}

std::string rgb_png(ImageView<const std::uint32_t> pixels) {
    std::string bytes;
    if (!write_png(&bytes, to_string, pixels)) throw std::bad_alloc();
    return bytes;
}

} // namespace ringwall
