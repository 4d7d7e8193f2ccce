// SPDX-License-Identifier: Apache-2.0
#include "pictures/png_file.hpp"

#include "ringwall/error.hpp"

#include <csetjmp>
#include <cstdio>
#include <memory>
#include <png.h>
#include <vector>

namespace ringwall {
namespace {

struct CloseFile {
    void operator()(std::FILE* file) const { std::fclose(file); }
};
using File = std::unique_ptr<std::FILE, CloseFile>;

void on_error(png_structp png, png_const_charp /*message*/) {
    std::longjmp(png_jmpbuf(png), 1);
}
void on_warning(png_structp /*png*/, png_const_charp /*message*/) {}

void pack(const std::uint32_t* row, int width, std::vector<png_byte>& rgb) {
    for (int x = 0; x < width; ++x) {
        rgb[3 * static_cast<std::size_t>(x)] = static_cast<png_byte>(row[x] >> 16);
        rgb[3 * static_cast<std::size_t>(x) + 1] = static_cast<png_byte>(row[x] >> 8);
        rgb[3 * static_cast<std::size_t>(x) + 2] = static_cast<png_byte>(row[x]);
    }
}

/// False when libpng gave up. Nothing with a destructor is made between setjmp and the end.
bool write_rows(png_structp png, png_infop info, std::FILE* file, ImageView<const std::uint32_t> pixels,
                std::vector<png_byte>& rgb) {
    if (setjmp(png_jmpbuf(png)) != 0) return false;
    png_init_io(png, file);
    png_set_compression_level(png, 1);
    png_set_filter(png, PNG_FILTER_TYPE_BASE, PNG_FILTER_SUB);
    png_set_IHDR(png, info, static_cast<png_uint_32>(pixels.width()),
                 static_cast<png_uint_32>(pixels.height()), 8, PNG_COLOR_TYPE_RGB, PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    png_write_info(png, info);
    for (int y = 0; y < pixels.height(); ++y) {
        pack(pixels.row(y), pixels.width(), rgb);
        png_write_row(png, rgb.data());
    }
    png_write_end(png, nullptr);
    return true;
}

} // namespace

void write_rgb_png(const std::filesystem::path& file, ImageView<const std::uint32_t> pixels) {
    const auto failed = [&] { return Error(Fault::input, "cannot write " + file.string()); };
    File out(std::fopen(file.c_str(), "wb"));
    if (!out) throw failed();
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, on_error, on_warning);
    png_infop info = png != nullptr ? png_create_info_struct(png) : nullptr;
    std::vector<png_byte> rgb(3 * static_cast<std::size_t>(pixels.width()));
    const bool written = info != nullptr && write_rows(png, info, out.get(), pixels, rgb);
    png_destroy_write_struct(&png, &info);
    const bool closed = std::fclose(out.release()) == 0;
    if (!written || !closed) throw failed();
}

} // namespace ringwall
