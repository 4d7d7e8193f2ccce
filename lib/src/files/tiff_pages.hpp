// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/source_file.hpp"

#include <vector>

namespace ringwall::files {

/// What the chain of a TIFF's pages holds.
struct TiffPages {
    std::vector<std::uint64_t> full; ///< where the directories of full pictures lie, in order
    int copies = 0;                  ///< pages marked as a reduced copy or a transparency mask of another
};

/// Walks the page chain without decoding anything. Throws Error(input): a chain that loops, leaves the file,
/// or holds over a million pages. The library's own count takes time growing with the square of the pages, so
/// a small hostile file could hold it up for hours.
TiffPages find_tiff_pages(const SourceFile& file);

} // namespace ringwall::files
