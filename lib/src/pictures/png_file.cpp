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

constexpr int band_rows =
    128; ///< packed at a time: fixed, so that any number of threads writes the same bytes
constexpr int pixel_bytes = 3;

struct CloseFile {
    void operator()(std::FILE* file) const { std::fclose(file); }
};
using File = std::unique_ptr<std::FILE, CloseFile>;

using Bytes = std::vector<unsigned char>;

/// Some rows of the picture, packed on their own: deflate blocks that end on a byte, without header and
/// checksum.
struct Band {
    Bytes packed;
    uLong checksum = 0; ///< Adler-32 of what was packed
    z_off_t size = 0;   ///< of that, bytes
};

/// One row as PNG filter 1 stores it: the filter's number, then every byte less the one a pixel before.
void filter_row(const std::uint32_t* row, int width, unsigned char* out) {
    *out++ = 1;
    std::uint32_t before = 0;
    for (int x = 0; x < width; ++x, out += pixel_bytes) {
        const std::uint32_t pixel = row[x];
        out[0] = static_cast<unsigned char>((pixel >> 16) - (before >> 16));
        out[1] = static_cast<unsigned char>((pixel >> 8) - (before >> 8));
        out[2] = static_cast<unsigned char>(pixel - before);
        before = pixel;
    }
}

Band pack(ImageView<const std::uint32_t> pixels, int first_row, int last_row, int level) {
    const std::size_t row_bytes = 1 + pixel_bytes * static_cast<std::size_t>(pixels.width());
    Bytes plain(row_bytes * static_cast<std::size_t>(last_row - first_row));
    for (int y = first_row; y < last_row; ++y)
        filter_row(pixels.row(y), pixels.width(),
                   plain.data() + row_bytes * static_cast<std::size_t>(y - first_row));
    z_stream stream{};
    if (deflateInit2(&stream, level, Z_DEFLATED, -MAX_WBITS, MAX_MEM_LEVEL, Z_DEFAULT_STRATEGY) != Z_OK)
        throw std::bad_alloc();
    Band band;
    band.packed.resize(deflateBound(&stream, static_cast<uLong>(plain.size())) + 16);
    stream.next_in = plain.data();
    stream.avail_in = static_cast<uInt>(plain.size());
    stream.next_out = band.packed.data();
    stream.avail_out = static_cast<uInt>(band.packed.size());
    const bool last = last_row == pixels.height();
    deflate(&stream, last ? Z_FINISH : Z_FULL_FLUSH);
    band.packed.resize(band.packed.size() - stream.avail_out);
    deflateEnd(&stream);
    band.checksum = adler32(1, plain.data(), static_cast<uInt>(plain.size()));
    band.size = static_cast<z_off_t>(plain.size());
    return band;
}

/// The bands one after the other are one zlib stream (RFC 1950): two bytes before it, the checksum of all
/// behind.
std::vector<Band> zlib_stream(ImageView<const std::uint32_t> pixels, int level) {
    const int count = (pixels.height() + band_rows - 1) / band_rows;
    std::vector<Band> bands(static_cast<std::size_t>(count));
    bridge::over_rows(count, [&](int first, int last) {
        for (int i = first; i < last; ++i)
            bands[static_cast<std::size_t>(i)] =
                pack(pixels, i * band_rows, std::min(pixels.height(), (i + 1) * band_rows), level);
    });
    uLong checksum = 1;
    for (const Band& band : bands)
        checksum = adler32_combine(checksum, band.checksum, band.size);
    constexpr unsigned char head[] = {0x78, 0x01};
    bands.front().packed.insert(bands.front().packed.begin(), std::begin(head), std::end(head));
    for (int shift = 24; shift >= 0; shift -= 8)
        bands.back().packed.push_back(static_cast<unsigned char>(checksum >> shift));
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
                  ImageView<const std::uint32_t> pixels, const std::vector<Band>& bands) {
    if (setjmp(png_jmpbuf(png)) != 0) return false;
    png_set_write_fn(png, target, sink, nothing_to_flush);
    png_set_IHDR(png, info, static_cast<png_uint_32>(pixels.width()),
                 static_cast<png_uint_32>(pixels.height()), 8, PNG_COLOR_TYPE_RGB, PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    png_write_info(png, info);
    for (const Band& band : bands)
        png_write_chunk(png, reinterpret_cast<png_const_bytep>("IDAT"), band.packed.data(),
                        band.packed.size());
    png_write_chunk(png, reinterpret_cast<png_const_bytep>("IEND"), nullptr, 0);
    return true;
}

bool write_png(void* target, Sink sink, ImageView<const std::uint32_t> pixels, int level) {
    const std::vector<Band> bands = zlib_stream(pixels, level);
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
    const bool written = write_png(out.get(), to_file, pixels, 1);
    const bool closed = std::fclose(out.release()) == 0;
    if (!written || !closed) throw failed();
}

std::string rgb_png(ImageView<const std::uint32_t> pixels) {
    std::string bytes;
    if (!write_png(&bytes, to_string, pixels, 6)) throw std::bad_alloc();
    return bytes;
}

} // namespace ringwall
