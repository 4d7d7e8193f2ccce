// SPDX-License-Identifier: Apache-2.0
#include "ringwall/files.hpp"

#include "ringwall/error.hpp"

#include <array>
#include <cstdio>
#include <memory>
#include <png.h>
#include <tiffio.h>
#include <vector>

namespace ringwall {
namespace {

[[noreturn]] void fail(const std::filesystem::path& file) {
    throw Error(Fault::input, file.string() + ": cannot be written");
}

/// Removes a half-written file unless told to keep it.
class Unfinished {
  public:
    explicit Unfinished(const std::filesystem::path& file) : file_(file) {}
    Unfinished(const Unfinished&) = delete;
    Unfinished& operator=(const Unfinished&) = delete;
    ~Unfinished() {
        std::error_code ignored;
        if (!keep_) std::filesystem::remove(file_, ignored);
    }
    void keep() { keep_ = true; }

  private:
    const std::filesystem::path& file_;
    bool keep_ = false;
};

int silent(TIFF*, void*, const char*, const char*, va_list) {
    return 1;
}

using TiffFile = std::unique_ptr<TIFF, void (*)(TIFF*)>;

TiffFile create_tiff(const std::filesystem::path& file) {
    const std::unique_ptr<TIFFOpenOptions, void (*)(TIFFOpenOptions*)> options(TIFFOpenOptionsAlloc(),
                                                                               TIFFOpenOptionsFree);
    TIFFOpenOptionsSetErrorHandlerExtR(options.get(), silent, nullptr);
    TIFFOpenOptionsSetWarningHandlerExtR(options.get(), silent, nullptr);
    TiffFile tiff(TIFFOpenExt(file.c_str(), "wl", options.get()), TIFFClose);
    if (!tiff) fail(file);
    return tiff;
}

void set_tiff16_tags(TIFF* tiff, int width, int height, double pixel_mm) {
    TIFFSetField(tiff, TIFFTAG_IMAGEWIDTH, static_cast<std::uint32_t>(width));
    TIFFSetField(tiff, TIFFTAG_IMAGELENGTH, static_cast<std::uint32_t>(height));
    TIFFSetField(tiff, TIFFTAG_BITSPERSAMPLE, 16);
    TIFFSetField(tiff, TIFFTAG_SAMPLESPERPIXEL, 1);
    TIFFSetField(tiff, TIFFTAG_PHOTOMETRIC, PHOTOMETRIC_MINISBLACK);
    TIFFSetField(tiff, TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG);
    TIFFSetField(tiff, TIFFTAG_COMPRESSION, COMPRESSION_NONE);
    TIFFSetField(tiff, TIFFTAG_ROWSPERSTRIP, TIFFDefaultStripSize(tiff, 0));
    if (!(pixel_mm > 0)) return;
    TIFFSetField(tiff, TIFFTAG_RESOLUTIONUNIT, RESUNIT_CENTIMETER);
    TIFFSetField(tiff, TIFFTAG_XRESOLUTION, 10.0 / pixel_mm);
    TIFFSetField(tiff, TIFFTAG_YRESOLUTION, 10.0 / pixel_mm);
}

void stay_silent(png_structp, png_const_charp) {}

[[noreturn]] void jump(png_structp png, png_const_charp) {
    png_longjmp(png, 1);
}

/// Nothing here owns memory: libpng leaves by longjmp.
bool write_rows(png_structp png, png_infop info, std::FILE* out, png_uint_32 width, png_uint_32 height,
                int bits, int colour_type, const unsigned char* first_row, std::ptrdiff_t row_step) {
    if (setjmp(png_jmpbuf(png)) != 0) return false;
    png_init_io(png, out);
    png_set_IHDR(png, info, width, height, bits, colour_type, PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    png_write_info(png, info);
    if (bits == 16) png_set_swap(png);
    for (png_uint_32 y = 0; y < height; ++y)
        png_write_row(png, first_row + static_cast<std::ptrdiff_t>(y) * row_step);
    png_write_end(png, info);
    return true;
}

void write_png(const std::filesystem::path& file, int width, int height, int bits, int colour_type,
               const void* pixels, std::ptrdiff_t row_step) {
    if (width <= 0 || height <= 0)
        throw Error(Fault::input, file.string() + ": there are no pixels to write");
    std::FILE* out = std::fopen(file.c_str(), "wb");
    if (out == nullptr) fail(file);
    Unfinished guard(file);
    png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, jump, stay_silent);
    png_infop info = png != nullptr ? png_create_info_struct(png) : nullptr;
    bool done = info != nullptr &&
                write_rows(png, info, out, static_cast<png_uint_32>(width), static_cast<png_uint_32>(height),
                           bits, colour_type, static_cast<const unsigned char*>(pixels), row_step);
    png_destroy_write_struct(&png, &info);
    done = std::fclose(out) == 0 && done;
    if (!done) fail(file);
    guard.keep();
}

} // namespace

void write_tiff16(const std::filesystem::path& file, ImageView<const std::uint16_t> picture,
                  double pixel_mm) {
    if (picture.empty()) throw Error(Fault::input, file.string() + ": there are no pixels to write");
    TiffFile tiff = create_tiff(file);
    Unfinished guard(file);
    set_tiff16_tags(tiff.get(), picture.width(), picture.height(), pixel_mm);
    const auto width = static_cast<std::size_t>(picture.width());
    std::vector<std::uint16_t> line(width); // the library may swap bytes in place
    for (int y = 0; y < picture.height(); ++y) {
        std::copy_n(picture.row(y), width, line.data());
        if (TIFFWriteScanline(tiff.get(), line.data(), static_cast<std::uint32_t>(y), 0) != 1) fail(file);
    }
    if (TIFFFlush(tiff.get()) != 1) fail(file);
    guard.keep();
}

void write_png16(const std::filesystem::path& file, ImageView<const std::uint16_t> picture) {
    write_png(file, picture.width(), picture.height(), 16, PNG_COLOR_TYPE_GRAY,
              picture.empty() ? nullptr : picture.row(0), picture.stride() * 2);
}

void write_png8(const std::filesystem::path& file, ImageView<const std::uint8_t> picture) {
    write_png(file, picture.width(), picture.height(), 8, PNG_COLOR_TYPE_GRAY,
              picture.empty() ? nullptr : picture.row(0), picture.stride());
}

void write_png_rgb(const std::filesystem::path& file, ImageView<const std::uint8_t> interleaved_rgb) {
    write_png(file, interleaved_rgb.width() / 3, interleaved_rgb.height(), 8, PNG_COLOR_TYPE_RGB,
              interleaved_rgb.empty() ? nullptr : interleaved_rgb.row(0), interleaved_rgb.stride());
}

} // namespace ringwall
