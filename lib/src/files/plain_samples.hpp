// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/samples.hpp"
#include "files/source_file.hpp"
#include "ringwall/image.hpp"

#include <functional>
#include <vector>

namespace ringwall::files {

/// Bytes of a file that follow each other.
struct ByteRun {
    std::uint64_t offset = 0;
    std::uint64_t bytes = 0;
};

/// How samples lie in a file that is neither packed nor cut into tiles.
struct PlainSamples {
    SampleFormat format;
    ColourModel model = ColourModel::grey;
    int channels = 1; ///< beside each other in a pixel
    bool swap = false;
    std::function<void(std::span<std::byte>)> tidy; ///< on whole rows after the swap; empty: nothing to do
    double slope = 1, intercept = 0;
    [[nodiscard]] std::uint64_t pixel_bytes() const {
        return static_cast<std::uint64_t>(channels) * static_cast<std::uint64_t>(format.bits / 8);
    }
    /// The machine's byte order against that of the file.
    static bool swapped(bool file_is_big_endian);
};

/// Rows top to bottom out of `runs`, which together hold exactly the picture, into `out`. Reads by position:
/// safe from several threads. Throws Error(input) with `which` ("slice 3 of 9") when the file ends too soon.
void read_plain(const SourceFile& file, std::span<const ByteRun> runs, const PlainSamples& samples,
                ImageView<float> out, const std::string& which);

/// values * slope + intercept, worked out in double.
void rescale(ImageView<float> values, double slope, double intercept);

} // namespace ringwall::files
