// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/radiograph.hpp"
#include "ringwall/watch.hpp"

#include <cstddef>
#include <filesystem>
#include <string>

namespace ringwall {

struct LoadLimits {
    std::size_t memory_bytes = std::size_t{4096}
                               << 20; ///< a picture whose decoding would need more is refused from its header
};

/// Reads one projection picture of any supported format, told by the first bytes and not by the name.
///
/// A file with several pages is read only by describe_file; here it is refused with a word about slice
/// stacks. Throws Error(input), one line: missing, empty, truncated, damaged, over the limit, over 2^31
/// pixels, unsupported kind, float values that are not finite. Never crashes and never prints on hostile
/// bytes; no partial picture is ever returned.
Radiograph load_radiograph(const std::filesystem::path& file, const LoadLimits& limits = {});

/// Header facts only (and the SHA-256); pages counted. Same errors as load_radiograph as far as a header
/// shows them, but several pages are fine. What only pixels tell is not filled: the range of floats stays 0,
/// and `colour` means that there are colour channels, whether they differ or not.
SourceFacts describe_file(const std::filesystem::path& file, const LoadLimits& limits = {});

/// SHA-256 of bytes, lower-case hex (FIPS 180-4).
std::string sha256_hex(const void* bytes, std::size_t size);

/// Writers for synthetic pictures and results. Throw Error(input) when the place cannot be written.
/// 16-bit grey TIFF with resolution tags in pixels per cm when pixel_mm > 0.
void write_tiff16(const std::filesystem::path& file, ImageView<const std::uint16_t> picture,
                  double pixel_mm = 0);
void write_png16(const std::filesystem::path& file, ImageView<const std::uint16_t> picture);
void write_png8(const std::filesystem::path& file, ImageView<const std::uint8_t> picture);
/// `interleaved_rgb`: width*3 columns.
void write_png_rgb(const std::filesystem::path& file, ImageView<const std::uint8_t> interleaved_rgb);

} // namespace ringwall
