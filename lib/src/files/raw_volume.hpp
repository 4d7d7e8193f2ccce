// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/byte_stream.hpp"
#include "files/readers.hpp"

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace ringwall::files {

/// What the text header of a volume format (MetaImage, NRRD) says of the pixels that follow it.
struct RawVolume {
    std::string format; ///< for the facts
    SampleFormat samples;
    bool big_endian = false;
    std::uint64_t channels = 1;      ///< beside each other in a pixel
    std::vector<std::uint64_t> size; ///< x, y, then the rest
    bool text = false;
    Packing packing = Packing::none;
    std::string data_file;        ///< beside the header's file; empty: behind the header in the same file
    std::uint64_t offset = 0;     ///< of the data in its file
    std::uint64_t skip_lines = 0; ///< lines of text between there and the data
    bool at_end = false;          ///< the data are the last bytes of the file, whatever stands before
    std::uint64_t skip = 0;       ///< bytes to leave out after unpacking
    std::optional<std::array<double, 2>> spacing_mm;
    std::string spacing_words;      ///< where the spacing stands, or why it cannot be used
    std::optional<double> slice_mm; ///< distance of the slices, with a unit of length
    std::string slice_words;        ///< where it stands, or why it cannot be used; empty: not stated
    bool skewed = false;            ///< axes that are not at right angles
    bool several_files = false;     ///< the pixels are spread over files of their own; nothing else is known
    [[nodiscard]] bool plain() const { return !text && packing == Packing::none; }
};

/// What the two kinds of text header say. Throw Error(input).
RawVolume read_meta_image_header(const SourceFile& file);
RawVolume read_nrrd_header(const SourceFile& file);

/// Size in pixels and slices, kind of samples and spacing in the plane; no hash. Throws Error(input).
SourceFacts raw_volume_facts(const SourceFile& file, const LoadLimits& limits, const RawVolume& volume);
/// Colour or grey by the number of channels.
ColourModel raw_volume_model(const SourceFile& file, const RawVolume& volume);
/// The data's file. Only a name in the header's own folder or below: a header sent by somebody must not reach
/// for other files.
std::filesystem::path raw_data_path(const SourceFile& file, const RawVolume& volume);
/// Where the data begin; refuses files that are too short for them.
std::uint64_t raw_data_offset(const SourceFile& data, const RawVolume& volume, SourceFacts& facts);
/// Bytes of the whole volume as stored when nothing is packed.
std::uint64_t stored_bytes(const RawVolume& volume, const SourceFacts& facts);
/// The samples one after the other, unpacked; numbers in text as doubles.
std::unique_ptr<ByteStream> raw_volume_bytes(const SourceFile& data, std::uint64_t offset,
                                             const RawVolume& volume);

/// Reads the picture that the header describes: lengths are checked against the real file before anything is
/// allocated, slices beyond the first make it a stack.
Radiograph read_raw_volume(const SourceFile& file, const LoadLimits& limits, Want want,
                           const RawVolume& volume);

/// Helpers for text headers.
std::string_view trim(std::string_view words);
std::vector<std::string> split_words(std::string_view words);
std::optional<std::uint64_t> whole_number(std::string_view words);
std::optional<double> decimal_number(std::string_view words);
std::string lower(std::string_view words);
/// Millimetres of a unit of length that a header spells out; none when unknown or not one for pixels.
std::optional<double> unit_mm(std::string_view unit);
/// The first bytes of a file, as far as a text header may reach.
std::string header_text(const SourceFile& file);

} // namespace ringwall::files
