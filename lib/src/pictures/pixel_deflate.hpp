// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/image.hpp"

#include <cstddef>
#include <cstdint>
#include <vector>

namespace ringwall {

/// Some rows of a picture, packed on their own.
struct PackedRows {
    std::vector<unsigned char> bytes; ///< deflate blocks that end on a byte, without header and checksum
    unsigned long checksum = 1;       ///< Adler-32 of what was packed
    std::size_t size = 0;             ///< of that, bytes
};

/// Packs rows [first_row, last_row) of 0xFFRRGGBB pixels (at least one row of one pixel) as PNG stores them
/// unfiltered: a zero and R, G, B of every pixel. What comes back is one deflate block (RFC 1951) that looks
/// no further back than its own first byte; `last` marks it as the end, else an empty block fills the byte.
///
/// Repeats are looked for pixel by pixel, not byte by byte: noise in a grey picture has few shades, so the
/// same pixel, or the same two, were nearly always seen a short way back. On such pictures this packs as well
/// as a general packer at its usual level, in a tenth of the time.
PackedRows pack_rows(ImageView<const std::uint32_t> pixels, int first_row, int last_row, bool last);

} // namespace ringwall
