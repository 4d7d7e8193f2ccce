// SPDX-License-Identifier: Apache-2.0
#include "pictures/png_file.hpp"

#include "bridge/parallel.hpp"
#include "pictures/pixel_deflate.hpp"
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

/// Packed at a time: fixed, so that any number of threads writes the same bytes, and so few that the packer's
/// lists stay in the heap's own memory and the processor's near one.
constexpr int band_pixels = 1 << 17;

struct CloseFile {
    void operator()(std::FILE* file) const { std::fclose(file); }
};
using File = std::unique_ptr<std::FILE, CloseFile>;

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
        checksum = adler32_combine(checksum, band.checksum, static_cast<z_off_t>(band.size));
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
