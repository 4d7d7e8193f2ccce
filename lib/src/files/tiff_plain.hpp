// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/plain_samples.hpp"
#include "files/tiff_layout.hpp"

namespace ringwall::files {

/// Where the pixels of the handle's page lie when they lie plainly, in strips of whole rows without packing;
/// empty when they must be decoded. Throws Error(input) when bytes of the page, packed or not, lie beyond the
/// file's end; `which` names the page.
std::vector<ByteRun> plain_tiff_runs(const SourceFile& file, const TiffHandle& tiff, const TiffLayout& layout,
                                     const std::string& which);

/// How to read them.
PlainSamples plain_tiff_samples(const TiffHandle& tiff, const TiffLayout& layout);

/// Distance of the slices as "spacing=" and "unit=" state it in the description, mm; and words that say so,
/// or why it cannot be used.
struct TiffSpacing {
    std::optional<double> unit_mm; ///< of "unit=", as far as it is a length
    std::optional<double> slice_mm;
    std::string words; ///< empty: no spacing stated
};
TiffSpacing tiff_spacing(const std::string& description);

} // namespace ringwall::files
