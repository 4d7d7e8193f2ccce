// SPDX-License-Identifier: Apache-2.0
#include "files/tiff_plain.hpp"

#include "files/raw_volume.hpp"

#include <bit>

namespace ringwall::files {
namespace {

bool lies_plainly(const TiffHandle& tiff, const TiffLayout& layout) {
    const int bits = layout.format.bits;
    return layout.compression == COMPRESSION_NONE && !layout.tiled && layout.samples == 1 &&
           layout.model == ColourModel::grey && (bits == 8 || bits == 16 || bits == 32 || bits == 64) &&
           tiff.tag<std::uint16_t>(TIFFTAG_FILLORDER, FILLORDER_MSB2LSB) == FILLORDER_MSB2LSB;
}

void check_inside(const SourceFile& file, const ByteRun& run, const std::string& which) {
    if (run.offset <= file.size() && run.bytes <= file.size() - run.offset) return;
    file.refuse("is cut off: " + which + " takes " + std::to_string(run.bytes) + " bytes from byte " +
                std::to_string(run.offset) + " on, got a file of " + std::to_string(file.size()));
}

void append(std::vector<ByteRun>& runs, const ByteRun& next) {
    if (!runs.empty() && runs.back().offset + runs.back().bytes == next.offset)
        runs.back().bytes += next.bytes;
    else
        runs.push_back(next);
}

} // namespace

std::vector<ByteRun> plain_tiff_runs(const SourceFile& file, const TiffHandle& tiff, const TiffLayout& layout,
                                     const std::string& which) {
    const auto width = tiff.tag<std::uint32_t>(TIFFTAG_IMAGEWIDTH, 0),
               height = tiff.tag<std::uint32_t>(TIFFTAG_IMAGELENGTH, 0);
    const std::uint32_t blocks =
        layout.tiled ? TIFFNumberOfTiles(tiff.get()) : TIFFNumberOfStrips(tiff.get());
    const std::uint32_t rows =
        std::max<std::uint32_t>(std::min(tiff.tag<std::uint32_t>(TIFFTAG_ROWSPERSTRIP, height), height), 1);
    const bool plain = lies_plainly(tiff, layout);
    const std::uint64_t row_bytes =
        std::uint64_t{width} * static_cast<std::uint64_t>(std::max(layout.format.bits / 8, 1));
    std::vector<ByteRun> runs;
    std::uint64_t row = 0;
    for (std::uint32_t block = 0; block < blocks && (row < height || !plain); ++block) {
        ByteRun run{TIFFGetStrileOffset(tiff.get(), block), TIFFGetStrileByteCount(tiff.get(), block)};
        tiff.check(true);
        if (plain) {
            const std::uint64_t need = std::min<std::uint64_t>(rows, height - row) * row_bytes;
            if (run.bytes < need)
                file.refuse("is damaged: a strip of " + which + " holds " + std::to_string(run.bytes) +
                            " bytes, expected " + std::to_string(need));
            run.bytes = need;
            append(runs, run);
            row += rows;
        }
        check_inside(file, run, which);
    }
    if (plain && row < height) file.refuse("is damaged: " + which + " has too few strips");
    return runs;
}

PlainSamples plain_tiff_samples(const TiffHandle& tiff, const TiffLayout& layout) {
    PlainSamples samples;
    samples.format = layout.format;
    samples.swap = TIFFIsByteSwapped(tiff.get()) != 0;
    return samples;
}

TiffSpacing tiff_spacing(const std::string& description) {
    TiffSpacing found;
    const std::string spacing = described(description, "spacing");
    std::string unit = described(description, "unit");
    if (unit == "\\u00B5m" || unit == "\\u00b5m") unit = "um"; // as text without the sign itself spells it
    found.unit_mm = unit_mm(unit);
    if (lower(unit) == "inch") found.unit_mm = 25.4;
    if (spacing.empty()) return found;
    const std::string stated =
        clean_line("TIFF description, spacing=" + spacing + (unit.empty() ? "" : " unit=" + unit));
    const auto value = decimal_number(trim(spacing));
    // The same reach as for pixels: 1 to 500 um.
    const bool good =
        value && found.unit_mm && *value * *found.unit_mm >= 1e-3 && *value * *found.unit_mm <= 0.5;
    if (good) found.slice_mm = *value * *found.unit_mm;
    found.words = good ? stated
                       : stated + " ignored: " +
                             (found.unit_mm ? "slices would not be 1 to 500 um apart" : "no unit of length");
    return found;
}

} // namespace ringwall::files
