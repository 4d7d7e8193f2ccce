// SPDX-License-Identifier: Apache-2.0
#include "files/tiff_layout.hpp"

#include <algorithm>

namespace ringwall::files {
namespace {

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

class TiffDecoder {
  public:
    TiffDecoder(const SourceFile& file, TiffHandle& tiff, const TiffLayout& layout, ImageView<float> picture)
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
            rows_.interleaved(line.data(), picture_.width(), picture_.row(y));
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
            float* out = picture_.row(y + row) + x;
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
    ImageView<float> picture_;
    RowConverter rows_;
    int planes_;
    std::vector<std::vector<std::byte>> blocks_;
};

} // namespace

RowConverter decode_tiff_page(const SourceFile& file, TiffHandle& tiff, const TiffLayout& layout,
                              ImageView<float> out) {
    TiffDecoder decoder(file, tiff, layout, out);
    decoder.run();
    return decoder.rows();
}

} // namespace ringwall::files
