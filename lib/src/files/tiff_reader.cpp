// SPDX-License-Identifier: Apache-2.0
#include "files/readers.hpp"
#include "files/samples.hpp"
#include "files/tiff_handle.hpp"
#include "files/tiff_pages.hpp"

#include <algorithm>
#include <cstdlib>

namespace ringwall::files {
namespace {

struct TiffLayout {
    SampleFormat format;
    ColourModel model = ColourModel::grey;
    int samples = 1;
    std::uint16_t photometric = PHOTOMETRIC_MINISBLACK;
    std::uint16_t compression = COMPRESSION_NONE;
    bool separate = false; ///< planes one after the other
    bool tiled = false;
};

SampleFormat sample_format(const SourceFile& file, const TiffHandle& tiff) {
    SampleFormat format;
    format.bits = tiff.tag<std::uint16_t>(TIFFTAG_BITSPERSAMPLE, 1);
    const auto stated = tiff.tag<std::uint16_t>(TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_UINT);
    if (stated == SAMPLEFORMAT_INT)
        format.kind = SampleKind::signed_integer;
    else if (stated == SAMPLEFORMAT_IEEEFP)
        format.kind = SampleKind::floating;
    else if (stated != SAMPLEFORMAT_UINT && stated != SAMPLEFORMAT_VOID)
        file.refuse("holds complex numbers, expected grey values");
    if (!supported(format))
        file.refuse("has " + std::to_string(format.bits) +
                    (format.kind == SampleKind::floating ? "-bit float" : "-bit integer") +
                    " samples, expected integers of 1 to 32 or 64 bits or floats of 16, 24, 32 or 64");
    return format;
}

ColourModel colour_model(const SourceFile& file, const TiffHandle& tiff, const TiffLayout& layout) {
    switch (layout.photometric) {
    case PHOTOMETRIC_MINISBLACK:
    case PHOTOMETRIC_MINISWHITE:
        return ColourModel::grey;
    case PHOTOMETRIC_PALETTE:
        return ColourModel::palette;
    case PHOTOMETRIC_RGB:
        return ColourModel::rgb;
    case PHOTOMETRIC_SEPARATED:
        return ColourModel::cmyk;
    case PHOTOMETRIC_YCBCR:
        if (layout.compression != COMPRESSION_JPEG)
            file.refuse("holds YCbCr colour without JPEG compression, expected grey or RGB");
        TIFFSetField(tiff.get(), TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB);
        return ColourModel::rgb;
    default:
        file.refuse("has the colour interpretation " + std::to_string(layout.photometric) +
                    ", expected grey, palette, RGB or CMYK");
    }
}

void check_layout(const SourceFile& file, const TiffLayout& layout) {
    const bool integer = layout.format.kind == SampleKind::unsigned_integer;
    if (layout.samples < channels_of(layout.model))
        file.refuse("has " + std::to_string(layout.samples) + " channels, expected " +
                    std::to_string(channels_of(layout.model)));
    if (layout.model == ColourModel::palette && (!integer || layout.format.bits > 16 || layout.samples != 1))
        file.refuse("has a palette, but no plain palette indices of at most 16 bits");
    if (layout.model == ColourModel::cmyk && !integer)
        file.refuse("holds CMYK colour that is no plain unsigned integer");
    // Some programs write a stack as the channels of one page.
    if (layout.model == ColourModel::grey && layout.samples > 2)
        file.refuse("holds " + std::to_string(layout.samples) +
                    " grey channels, which is a slice stack, expected one projection picture");
    if (TIFFIsCODECConfigured(layout.compression) == 0)
        file.refuse("uses the TIFF compression " + std::to_string(layout.compression) +
                    ", which this TIFF library cannot decode");
}

TiffLayout read_layout(const SourceFile& file, const TiffHandle& tiff) {
    TiffLayout layout;
    layout.compression = tiff.tag<std::uint16_t>(TIFFTAG_COMPRESSION, COMPRESSION_NONE);
    layout.samples = tiff.tag<std::uint16_t>(TIFFTAG_SAMPLESPERPIXEL, 1);
    std::uint16_t photometric = 0;
    // Without the tag the samples are taken as they are.
    layout.photometric = TIFFGetField(tiff.get(), TIFFTAG_PHOTOMETRIC, &photometric) == 1 ? photometric
                         : layout.samples >= 3 ? std::uint16_t{PHOTOMETRIC_RGB}
                                               : std::uint16_t{PHOTOMETRIC_MINISBLACK};
    layout.model = colour_model(file, tiff, layout);
    layout.format = sample_format(file, tiff);
    layout.separate =
        layout.samples > 1 &&
        tiff.tag<std::uint16_t>(TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG) == PLANARCONFIG_SEPARATE;
    layout.tiled = TIFFIsTiled(tiff.get()) != 0;
    check_layout(file, layout);
    return layout;
}

/// Buffers the decoder will need beside the picture: a tile or strip of each plane read at a time.
std::uint64_t working_bytes(const TiffHandle& tiff, const TiffLayout& layout) {
    const std::uint64_t planes = layout.separate ? static_cast<std::uint64_t>(channels_of(layout.model)) : 1;
    std::uint64_t block = TIFFScanlineSize64(tiff.get());
    if (layout.tiled)
        block = TIFFTileSize64(tiff.get());
    else if (layout.separate)
        block = TIFFStripSize64(tiff.get());
    constexpr std::uint64_t most = std::uint64_t{1} << 50;
    return std::min(block, most) * planes;
}

/// Stored plainly, the pixels' bytes must be in the file: a cheap look that refuses before anything is
/// allocated.
void check_length(const SourceFile& file, const TiffHandle& tiff, const TiffLayout& layout,
                  std::uint32_t height) {
    if (layout.compression != COMPRESSION_NONE || layout.tiled) return;
    const std::uint64_t planes = layout.separate ? static_cast<std::uint64_t>(layout.samples) : 1;
    const std::uint64_t need = TIFFScanlineSize64(tiff.get()) * planes * height;
    if (need > file.size())
        file.refuse("is cut off: its pixels take " + std::to_string(need) + " bytes, got a file of " +
                    std::to_string(file.size()));
}

void take_tiff_resolution(const TiffHandle& tiff, SourceFacts& facts) {
    float x = 0, y = 0;
    if (TIFFGetField(tiff.get(), TIFFTAG_XRESOLUTION, &x) != 1 ||
        TIFFGetField(tiff.get(), TIFFTAG_YRESOLUTION, &y) != 1)
        return;
    const auto unit = tiff.tag<std::uint16_t>(TIFFTAG_RESOLUTIONUNIT, RESUNIT_INCH);
    const std::string value = number(x) + (x == y ? "" : " x " + number(y));
    if (unit == RESUNIT_CENTIMETER)
        take_resolution(facts, {x / 10.0, y / 10.0}, "TIFF resolution, " + value + " per cm");
    else if (unit == RESUNIT_INCH)
        take_resolution(facts, {x / 25.4, y / 25.4}, "TIFF resolution, " + value + " per inch");
    else if (x != 1 || y != 1)
        facts.notes.push_back("TIFF resolution, " + value + " ignored: no unit of length");
}

bool lossy(std::uint16_t compression) {
    constexpr std::array<std::uint16_t, 5> kinds = {COMPRESSION_OJPEG, COMPRESSION_JPEG, COMPRESSION_JP2000,
                                                    COMPRESSION_WEBP,
                                                    34892 /* lossy JPEG of raw camera files */};
    return std::find(kinds.begin(), kinds.end(), compression) != kinds.end();
}

/// Programs write stacks over 4 GB as one page, the count of slices standing in words in its description.
int slices_in_description(const TiffHandle& tiff) {
    const char* words = nullptr;
    if (TIFFGetField(tiff.get(), TIFFTAG_IMAGEDESCRIPTION, &words) != 1 || words == nullptr) return 1;
    const std::string description(words);
    const std::size_t at = description.find("images=");
    if (at == std::string::npos || (at > 0 && description[at - 1] != '\n')) return 1;
    const long count = std::strtol(description.c_str() + at + 7, nullptr, 10);
    return count > 1 && count < 1L << 30 ? static_cast<int>(count) : 1;
}

void note_pages(const TiffHandle& tiff, const TiffPages& pages, SourceFacts& facts) {
    facts.pages = pages.pages;
    if (pages.pages == 1) facts.pages = slices_in_description(tiff);
    if (pages.copies > 0)
        facts.notes.push_back(std::to_string(pages.copies) +
                              " reduced copies or masks in the file were passed over");
}

SourceFacts read_facts(const TiffHandle& tiff, const TiffLayout& layout) {
    SourceFacts facts;
    facts.format = "TIFF";
    facts.bits = layout.format.bits;
    facts.is_float = layout.format.kind == SampleKind::floating;
    facts.lowest_value = lowest_of(layout.format);
    facts.full_scale = layout.model == ColourModel::palette ? 255 : highest_of(layout.format);
    if (layout.model == ColourModel::palette) facts.bits = 8;
    facts.lossy = lossy(layout.compression);
    facts.colour = channels_of(layout.model) > 1 || layout.model == ColourModel::palette;
    facts.inverted_scale = layout.photometric == PHOTOMETRIC_MINISWHITE;
    if (layout.samples > channels_of(layout.model))
        facts.notes.push_back(std::to_string(layout.samples - channels_of(layout.model)) +
                              " further channel (transparency or the like) ignored");
    const auto orientation = tiff.tag<std::uint16_t>(TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
    if (orientation != ORIENTATION_TOPLEFT)
        facts.notes.push_back("orientation tag " + std::to_string(orientation) +
                              " not applied: the picture is taken as stored");
    take_tiff_resolution(tiff, facts);
    return facts;
}

/// Palette entries as 0..255; some programs wrote 8-bit entries where 16 bits are due.
std::vector<std::array<float, 3>> palette(const SourceFile& file, const TiffHandle& tiff, int bits) {
    std::array<std::uint16_t*, 3> map{};
    if (TIFFGetField(tiff.get(), TIFFTAG_COLORMAP, &map[0], &map[1], &map[2]) != 1)
        file.refuse("is a palette picture without a palette");
    const std::size_t size = std::size_t{1} << bits;
    std::uint16_t greatest = 0;
    for (const auto* channel : map)
        greatest = std::max(greatest, *std::max_element(channel, channel + size));
    const float unit = greatest < 256 ? 1.0F : 257.0F;
    std::vector<std::array<float, 3>> colours(size);
    for (std::size_t i = 0; i < size; ++i)
        for (std::size_t c = 0; c < 3; ++c)
            colours[i][c] = static_cast<float>(map[c][i]) / unit;
    return colours;
}

/// Decodes one TIFF page into floats, block by block, so that little more than the picture itself is in
/// memory.
class TiffDecoder {
  public:
    TiffDecoder(const SourceFile& file, TiffHandle& tiff, const TiffLayout& layout, Image<float>& picture)
        : tiff_(tiff), layout_(layout), picture_(picture), rows_(layout.format, layout.model, layout.samples),
          planes_(layout.separate ? channels_of(layout.model) : 1) {
        if (layout.model == ColourModel::palette) rows_.set_palette(palette(file, tiff, layout.format.bits));
    }
    void run() {
        tiff_.start_decoding();
        if (layout_.tiled)
            tiles();
        else if (layout_.separate)
            strips();
        else
            lines();
    }
    [[nodiscard]] const RowConverter& rows() const { return rows_; }

  private:
    void lines() {
        std::vector<std::byte> line(size_of(TIFFScanlineSize64(tiff_.get())));
        for (int y = 0; y < picture_.height(); ++y) {
            tiff_.check(TIFFReadScanline(tiff_.get(), line.data(), static_cast<std::uint32_t>(y), 0) == 1);
            rows_.interleaved(line.data(), picture_.width(), picture_.view().row(y));
        }
    }
    void strips() {
        const auto height = static_cast<std::uint32_t>(picture_.height());
        const std::uint32_t rows = std::min(tiff_.tag<std::uint32_t>(TIFFTAG_ROWSPERSTRIP, height), height);
        allocate(size_of(TIFFStripSize64(tiff_.get())));
        const std::size_t pitch = size_of(TIFFScanlineSize64(tiff_.get()));
        for (std::uint32_t y = 0; y < height; y += rows) {
            const std::uint32_t here = std::min(rows, height - y);
            for (std::size_t plane = 0; plane < blocks_.size(); ++plane) {
                const std::uint32_t strip =
                    TIFFComputeStrip(tiff_.get(), y, static_cast<std::uint16_t>(plane));
                const auto want = static_cast<tmsize_t>(pitch * here);
                tiff_.check(TIFFReadEncodedStrip(tiff_.get(), strip, blocks_[plane].data(), want) == want);
            }
            store(0, static_cast<int>(y), picture_.width(), static_cast<int>(here), pitch);
        }
    }
    void tiles() {
        const auto width = tiff_.tag<std::uint32_t>(TIFFTAG_TILEWIDTH, 1),
                   height = tiff_.tag<std::uint32_t>(TIFFTAG_TILELENGTH, 1);
        const std::size_t size = size_of(TIFFTileSize64(tiff_.get()));
        allocate(size);
        const std::size_t pitch = size_of(TIFFTileRowSize64(tiff_.get()));
        for (std::int64_t y = 0; y < picture_.height(); y += height)
            for (std::int64_t x = 0; x < picture_.width(); x += width) {
                for (std::size_t plane = 0; plane < blocks_.size(); ++plane) {
                    const std::uint32_t tile =
                        TIFFComputeTile(tiff_.get(), static_cast<std::uint32_t>(x),
                                        static_cast<std::uint32_t>(y), 0, static_cast<std::uint16_t>(plane));
                    const auto want = static_cast<tmsize_t>(size);
                    tiff_.check(TIFFReadEncodedTile(tiff_.get(), tile, blocks_[plane].data(), want) == want);
                }
                store(static_cast<int>(x), static_cast<int>(y),
                      static_cast<int>(std::min<std::int64_t>(width, picture_.width() - x)),
                      static_cast<int>(std::min<std::int64_t>(height, picture_.height() - y)), pitch);
            }
    }

    /// The decoded block of each plane into the rectangle of the picture.
    void store(int x, int y, int width, int height, std::size_t pitch) {
        std::vector<const std::byte*> planes(blocks_.size());
        for (int row = 0; row < height; ++row) {
            for (std::size_t plane = 0; plane < planes.size(); ++plane)
                planes[plane] = blocks_[plane].data() + pitch * static_cast<std::size_t>(row);
            float* out = picture_.view().row(y + row) + x;
            if (layout_.separate)
                rows_.separate(planes, width, out);
            else
                rows_.interleaved(planes[0], width, out);
        }
    }
    void allocate(std::size_t size) {
        blocks_.resize(static_cast<std::size_t>(planes_));
        for (auto& block : blocks_)
            block.resize(size);
    }
    /// A size of 0 means that the library found it absurd.
    [[nodiscard]] std::size_t size_of(std::uint64_t bytes) const {
        tiff_.check(bytes > 0);
        return static_cast<std::size_t>(bytes);
    }

    TiffHandle& tiff_;
    const TiffLayout& layout_;
    Image<float>& picture_;
    RowConverter rows_;
    int planes_;
    std::vector<std::vector<std::byte>> blocks_;
};

} // namespace

Radiograph read_tiff(const SourceFile& file, const LoadLimits& limits, Want want) {
    const TiffPages pages = count_tiff_pages(file);
    TiffHandle tiff(file, limits.memory_bytes);
    const TiffLayout layout = read_layout(file, tiff);
    const auto width = tiff.tag<std::uint32_t>(TIFFTAG_IMAGEWIDTH, 0),
               height = tiff.tag<std::uint32_t>(TIFFTAG_IMAGELENGTH, 0);
    check_size(file, width, height, limits);
    check_size(file, width, height, limits, working_bytes(tiff, layout));
    tiff.check(true);
    Radiograph radiograph;
    radiograph.facts = read_facts(tiff, layout);
    radiograph.facts.width_px = static_cast<int>(width);
    radiograph.facts.height_px = static_cast<int>(height);
    note_pages(tiff, pages, radiograph.facts);
    if (want == Want::facts) return radiograph;
    check_single_page(file, radiograph.facts);
    check_length(file, tiff, layout, height);
    radiograph.values = make_picture(file, radiograph.facts);
    TiffDecoder decoder(file, tiff, layout, radiograph.values);
    decoder.run();
    finish_rows(file, radiograph, decoder.rows());
    return radiograph;
}

} // namespace ringwall::files
