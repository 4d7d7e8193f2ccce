// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/radiograph.hpp"

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace ringwall::files {

enum class SampleKind { unsigned_integer, signed_integer, floating };

/// How a decoder hands over samples: whole bytes of the machine's own byte order for 8, 16, 24, 32 and 64
/// bits, else packed most significant bit first.
struct SampleFormat {
    SampleKind kind = SampleKind::unsigned_integer;
    int bits = 8;
    bool operator==(const SampleFormat&) const = default;
};

/// Integers of 1-32 and 64 bits; floats of 16, 24, 32 and 64 bits.
bool supported(const SampleFormat& format);
double lowest_of(const SampleFormat& format);  ///< 0 for floats
double highest_of(const SampleFormat& format); ///< 0 for floats

enum class ColourModel { grey, palette, rgb, cmyk };

/// Rec. 601 luma; equal channels give exactly that channel.
inline float luma(float r, float g, float b) {
    return r == g && g == b ? r : 0.299F * r + 0.587F * g + 0.114F * b;
}

/// Turns decoded rows into the floats of a picture, and remembers what the reader must be told about them.
class RowConverter {
  public:
    /// `samples`: channels that lie beside each other in one pixel (those beyond the colour model are passed
    /// over).
    RowConverter(SampleFormat format, ColourModel model, int samples);
    /// Colours of a palette by index, 0..255 or the like; the grey value of each is worked out once.
    void set_palette(const std::vector<std::array<float, 3>>& colours);

    /// One run of `count` pixels, channels interleaved.
    void interleaved(const std::byte* row, int count, float* out);
    /// One run of `count` pixels, each channel in a row of its own (as many as the colour model has).
    void separate(const std::vector<const std::byte*>& rows, int count, float* out);

    [[nodiscard]] bool colour() const { return colour_; } ///< channels differed somewhere
    [[nodiscard]] bool lost_digits() const {
        return lost_digits_;
    }                                                           ///< a value did not fit into a float exactly
    [[nodiscard]] bool bad_index() const { return bad_index_; } ///< a palette index without a colour

  private:
    void channel(const std::byte* row, int first, int step, int count, float* out);
    void combine(int count, float* out);

    SampleFormat format_;
    ColourModel model_;
    int samples_;
    std::vector<float> palette_grey_;
    std::vector<char> palette_coloured_;
    std::array<std::vector<float>, 4> channels_;
    bool colour_ = false;
    bool lost_digits_ = false;
    bool bad_index_ = false;
};

/// Channels a pixel of the model needs.
int channels_of(ColourModel model);

} // namespace ringwall::files
