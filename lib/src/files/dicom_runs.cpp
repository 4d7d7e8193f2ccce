// SPDX-License-Identifier: Apache-2.0
// Run-length pixels, DICOM PS3.5 annex G. Own code: the library's decoder reads outside its data when a
// header's offsets are wrong (a segmentation fault within a few hundred damaged files).
#include "files/bytes.hpp"
#include "files/dicom_codec.hpp"

namespace ringwall::files {
namespace {

constexpr std::size_t header_bytes = 64, most_segments = 15;

/// One segment's bytes, each `step` apart in `out`; false when they do not come to exactly `count`.
bool unpack_runs(std::span<const std::byte> packed, std::byte* out, std::size_t step, std::size_t count) {
    std::size_t done = 0;
    for (std::size_t at = 0; at < packed.size() && done < count;) {
        const unsigned code =
            std::to_integer<unsigned>(packed[at++]); // two's complement: 129 to 255 repeat a byte
        if (code == 128) continue;
        const bool literal = code < 128;
        const std::size_t length = literal ? code + 1 : 257 - code, taken = literal ? length : 1;
        if (taken > packed.size() - at || length > count - done) return false;
        for (std::size_t i = 0; i < length; ++i)
            out[(done + i) * step] = packed[at + (literal ? i : 0)];
        at += taken;
        done += length;
    }
    return done == count;
}

} // namespace

std::vector<std::byte> decode_dicom_runs(const SourceFile& file, std::span<const std::byte> packed,
                                         const DicomLayout& layout) {
    const std::size_t sample = static_cast<std::size_t>(layout.bits_allocated) / 8,
                      channels = static_cast<std::size_t>(layout.samples);
    const std::size_t segments = sample * channels, pixel = segments;
    if (packed.size() < header_bytes || segments > most_segments || number_at(packed, 0, 4) != segments)
        file.refuse("is damaged: its run-length pixels do not have " + std::to_string(segments) +
                    " segments");
    std::vector<std::byte> frame(static_cast<std::size_t>(layout.frame_bytes()));
    for (std::size_t segment = 0; segment < segments; ++segment) {
        const std::uint64_t start = number_at(packed, 4 + 4 * segment, 4);
        const std::uint64_t end =
            segment + 1 < segments ? number_at(packed, 8 + 4 * segment, 4) : packed.size();
        // The most significant byte of a sample comes first; the frame has the least first.
        const std::size_t channel = segment / sample, byte = sample - 1 - segment % sample;
        const bool sound = start >= header_bytes && start <= end && end <= packed.size() &&
                           unpack_runs(packed.subspan(static_cast<std::size_t>(start),
                                                      static_cast<std::size_t>(end - start)),
                                       frame.data() + channel * sample + byte, pixel, frame.size() / pixel);
        if (!sound) file.refuse("is damaged: its run-length pixels do not fill the picture");
    }
    return frame;
}

} // namespace ringwall::files
