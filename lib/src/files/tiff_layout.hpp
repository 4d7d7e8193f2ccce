// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/checks.hpp"
#include "files/samples.hpp"
#include "files/tiff_handle.hpp"

#include <optional>

namespace ringwall::files {

/// How the samples of the handle's page are stored.
struct TiffLayout {
    SampleFormat format;
    ColourModel model = ColourModel::grey;
    int samples = 1;
    std::uint16_t photometric = PHOTOMETRIC_MINISBLACK;
    std::uint16_t compression = COMPRESSION_NONE;
    bool separate = false; ///< planes one after the other
    bool tiled = false;
    bool operator==(const TiffLayout&) const = default;
};

/// Throws Error(input) on kinds of pixels that are not read.
TiffLayout read_tiff_layout(const SourceFile& file, const TiffHandle& tiff);

/// Buffers the decoder will need beside the picture: a tile or strip of each plane read at a time.
std::uint64_t tiff_working_bytes(const TiffHandle& tiff, const TiffLayout& layout);

/// The page's facts but its size and the count of pages. `unit_mm`: what the file's description says that its
/// resolution is counted in, for resolution tags without a unit of their own.
SourceFacts read_tiff_facts(const TiffHandle& tiff, const TiffLayout& layout,
                            std::optional<double> unit_mm = std::nullopt);

/// The page's description in words, empty when it has none.
std::string tiff_description(const TiffHandle& tiff);
/// What stands behind "key=" at the beginning of a line of the description; empty when it has no such line.
std::string described(const std::string& description, const std::string& key);
/// Slices that the description counts; 1 when it does not.
int slices_in_description(const std::string& description);

/// Decodes the handle's page into `out`, block by block, so that little more than the picture itself is in
/// memory; returns the converter for what it found out. Throws Error(input).
RowConverter decode_tiff_page(const SourceFile& file, TiffHandle& tiff, const TiffLayout& layout,
                              ImageView<float> out);

} // namespace ringwall::files
