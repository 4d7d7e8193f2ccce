// SPDX-License-Identifier: Apache-2.0
// Own code for a plain old format: the usual one-header library fills a cut-off file up with zeros, takes
// indices beyond the palette from uninitialised memory, and holds the whole picture in colour besides.
#include "files/bytes.hpp"
#include "files/readers.hpp"

#include <bit>

namespace ringwall::files {
namespace {

struct BmpHeader {
    std::uint32_t pixel_offset = 0;
    std::uint32_t header_size = 0;
    std::uint64_t width = 0, height = 0;
    bool top_down = false;
    int bits = 0;                         ///< a pixel
    std::array<std::uint32_t, 3> masks{}; ///< red, green, blue; of 16 and 32 bits
    std::size_t palette_entries = 0;
    std::array<double, 2> per_m{};
    [[nodiscard]] std::uint64_t row_bytes() const {
        return (width * static_cast<std::uint64_t>(bits) + 31) / 32 * 4;
    }
    [[nodiscard]] bool old() const { return header_size == 12; }
};

constexpr std::uint32_t plain = 0, bitfields = 3;

void read_masks(const SourceFile& file, BmpHeader& header, std::span<const std::byte> head,
                std::uint32_t packing) {
    if (header.bits != 16 && header.bits != 32) return;
    header.masks = header.bits == 16 ? std::array<std::uint32_t, 3>{0x7c00, 0x3e0, 0x1f}
                                     : std::array<std::uint32_t, 3>{0xff0000, 0xff00, 0xff};
    if (packing != bitfields) return;
    for (std::size_t i = 0; i < 3; ++i) {
        const auto mask = static_cast<std::uint32_t>(number_at(head, 54 + 4 * i, 4));
        const std::uint32_t low = mask >> std::countr_zero(mask | 1U << 31);
        if (mask == 0 || (low & (low + 1)) != 0 || std::popcount(mask) > 16)
            file.refuse("is a damaged BMP: its colour masks make no sense");
        header.masks[i] = mask;
    }
}

BmpHeader read_header(const SourceFile& file) {
    std::array<std::byte, 66> head{};
    const std::size_t known = file.read_some(0, head.data(), head.size());
    if (known < 26) file.refuse("is cut off within the BMP header");
    BmpHeader header;
    header.pixel_offset = static_cast<std::uint32_t>(number_at(head, 10, 4));
    header.header_size = static_cast<std::uint32_t>(number_at(head, 14, 4));
    std::uint32_t packing = plain, colours = 0;
    if (header.old()) {
        header.width = number_at(head, 18, 2);
        header.height = number_at(head, 20, 2);
        header.bits = static_cast<int>(number_at(head, 24, 2));
    } else {
        if (header.header_size < 40 || header.header_size > 124 || known < 54)
            file.refuse("has a BMP header of " + std::to_string(header.header_size) +
                        " bytes, expected 12 or 40 to 124");
        const auto width = static_cast<std::int32_t>(number_at(head, 18, 4)),
                   height = static_cast<std::int32_t>(number_at(head, 22, 4));
        if (width < 0) file.refuse("is a damaged BMP: its width is negative");
        header.width = static_cast<std::uint64_t>(width);
        header.top_down = height < 0;
        header.height = static_cast<std::uint64_t>(std::abs(std::int64_t{height}));
        header.bits = static_cast<int>(number_at(head, 28, 2));
        packing = static_cast<std::uint32_t>(number_at(head, 30, 4));
        colours = static_cast<std::uint32_t>(number_at(head, 46, 4));
        header.per_m = {static_cast<double>(number_at(head, 38, 4)),
                        static_cast<double>(number_at(head, 42, 4))};
    }
    const bool usual = header.bits == 1 || header.bits == 4 || header.bits == 8 || header.bits == 16 ||
                       header.bits == 24 || header.bits == 32;
    if (!usual)
        file.refuse("is a BMP of " + std::to_string(header.bits) +
                    " bits a pixel, expected 1, 4, 8, 16, 24 or 32");
    if (packing != plain &&
        !(packing == bitfields && header.bits >= 16 && header.bits != 24 && known == head.size()))
        file.refuse("is a BMP packed in kind " + std::to_string(packing) + ", expected a plain one");
    if (header.bits <= 8)
        header.palette_entries =
            colours == 0 || colours > 1U << header.bits ? std::size_t{1} << header.bits : colours;
    read_masks(file, header, head, packing);
    return header;
}

void check_length(const SourceFile& file, const BmpHeader& header) {
    const std::uint64_t need = header.pixel_offset + header.row_bytes() * header.height;
    if (need > file.size())
        file.refuse("is a cut-off BMP, expected " + std::to_string(need) + " bytes, got " +
                    std::to_string(file.size()));
    const std::uint64_t header_end =
        14 + std::uint64_t{header.header_size} + header.palette_entries * (header.old() ? 3 : 4);
    if (header.pixel_offset < header_end) file.refuse("is a damaged BMP: its pixels overlap its header");
}

std::vector<std::array<float, 3>> read_palette(const SourceFile& file, const BmpHeader& header) {
    const std::size_t entry = header.old() ? 3 : 4;
    std::vector<std::byte> bytes(header.palette_entries * entry);
    if (!file.read_all(14 + std::uint64_t{header.header_size}, bytes))
        file.refuse("is cut off within the BMP palette");
    std::vector<std::array<float, 3>> colours;
    const auto part = [&](std::size_t at) {
        return static_cast<float>(std::to_integer<unsigned>(bytes[at]));
    };
    for (std::size_t at = 0; at < bytes.size(); at += entry) // blue, green, red
        colours.push_back({part(at + 2), part(at + 1), part(at)});
    return colours;
}

/// One stored row as bytes in the order red, green, blue.
void to_rgb(const BmpHeader& header, std::span<const std::byte> row, std::span<std::byte> rgb) {
    const std::size_t step = static_cast<std::size_t>(header.bits) / 8;
    for (std::size_t x = 0; x < header.width; ++x)
        for (std::size_t c = 0; c < 3; ++c) {
            if (step == 3) {
                rgb[3 * x + c] = row[3 * x + 2 - c];
                continue;
            }
            const std::uint32_t mask = header.masks[c];
            const int shift = std::countr_zero(mask);
            const std::uint64_t value = (number_at(row, x * step, step) & mask) >> shift,
                                most = mask >> shift;
            rgb[3 * x + c] = static_cast<std::byte>((value * 255 + most / 2) / most);
        }
}

SourceFacts read_facts(const BmpHeader& header) {
    SourceFacts facts;
    facts.format = "BMP";
    facts.width_px = static_cast<int>(header.width);
    facts.height_px = static_cast<int>(header.height);
    facts.bits = 8;
    facts.full_scale = 255;
    facts.colour = true; // until the pixels are seen: a BMP has no grey
    if (header.bits == 32) facts.notes.emplace_back("transparency ignored");
    const auto [x, y] = header.per_m;
    if (x > 0 && y > 0)
        take_resolution(facts, {x / 1000, y / 1000},
                        "BMP resolution, " + number(x) + (x == y ? "" : " x " + number(y)) + " per m");
    return facts;
}

} // namespace

Radiograph read_bmp(const SourceFile& file, const LoadLimits& limits, Want want) {
    const BmpHeader header = read_header(file);
    check_size(file, header.width, header.height, limits, 7 * header.width);
    check_length(file, header);
    Radiograph radiograph;
    radiograph.facts = read_facts(header);
    if (want == Want::facts) return radiograph;
    radiograph.values = make_picture(file, radiograph.facts);
    const bool palette = header.bits <= 8;
    RowConverter rows({SampleKind::unsigned_integer, palette ? header.bits : 8},
                      palette ? ColourModel::palette : ColourModel::rgb, palette ? 1 : 3);
    if (palette) rows.set_palette(read_palette(file, header));
    std::vector<std::byte> row(static_cast<std::size_t>(header.row_bytes())),
        rgb(palette ? 0 : 3 * header.width);
    for (std::uint64_t y = 0; y < header.height; ++y) {
        if (!file.read_all(header.pixel_offset + y * row.size(), row)) file.refuse("is a cut-off BMP");
        if (!palette) to_rgb(header, row, rgb);
        const std::uint64_t line = header.top_down ? y : header.height - 1 - y;
        rows.interleaved(palette ? row.data() : rgb.data(), radiograph.values.width(),
                         radiograph.values.view().row(static_cast<int>(line)));
    }
    finish_rows(file, radiograph, rows);
    return radiograph;
}

} // namespace ringwall::files
