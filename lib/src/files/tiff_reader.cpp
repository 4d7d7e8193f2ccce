// SPDX-License-Identifier: Apache-2.0
#include "files/readers.hpp"
#include "files/tiff_layout.hpp"
#include "files/tiff_pages.hpp"

namespace ringwall::files {
namespace {

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

/// Programs write stacks over 4 GB as one page, the count of slices standing in words in its description.
void note_pages(const TiffHandle& tiff, const TiffPages& pages, SourceFacts& facts) {
    facts.pages = static_cast<int>(pages.full.size());
    if (facts.pages == 1) facts.pages = slices_in_description(tiff_description(tiff));
    if (pages.copies > 0)
        facts.notes.push_back(std::to_string(pages.copies) +
                              " reduced copies or masks in the file were passed over");
}

} // namespace

Radiograph read_tiff(const SourceFile& file, const LoadLimits& limits, Want want) {
    const TiffPages pages = find_tiff_pages(file);
    TiffHandle tiff(file, limits.memory_bytes);
    const TiffLayout layout = read_tiff_layout(file, tiff);
    const auto width = tiff.tag<std::uint32_t>(TIFFTAG_IMAGEWIDTH, 0),
               height = tiff.tag<std::uint32_t>(TIFFTAG_IMAGELENGTH, 0);
    check_size(file, width, height, limits);
    check_size(file, width, height, limits, tiff_working_bytes(tiff, layout));
    tiff.check(true);
    Radiograph radiograph;
    radiograph.facts = read_tiff_facts(tiff, layout);
    radiograph.facts.width_px = static_cast<int>(width);
    radiograph.facts.height_px = static_cast<int>(height);
    note_pages(tiff, pages, radiograph.facts);
    if (want == Want::facts) return radiograph;
    check_single_page(file, radiograph.facts);
    check_length(file, tiff, layout, height);
    radiograph.values = make_picture(file, radiograph.facts);
    finish_rows(file, radiograph, decode_tiff_page(file, tiff, layout, radiograph.values.view()));
    return radiograph;
}

} // namespace ringwall::files
