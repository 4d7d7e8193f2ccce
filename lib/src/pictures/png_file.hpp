// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <cstdint>
#include <filesystem>
#include <string>

namespace ringwall {

/// Writes 0xFFRRGGBB pixels as an 8-bit RGB PNG, packed by zlib, bands of rows on all threads. No time
/// of day in it: same pixels, same bytes. At least 1 x 1 px. Throws Error(input) when the file cannot be
/// written.
void write_rgb_png(const std::filesystem::path& file, ImageView<const std::uint32_t> pixels);
/// The same picture as bytes, for figures inside a page.
std::string rgb_png(ImageView<const std::uint32_t> pixels);

} // namespace ringwall
