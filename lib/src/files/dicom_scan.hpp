// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/source_file.hpp"

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace ringwall::files {

/// Where the value of an element lies in the file.
struct DicomElement {
    std::uint64_t offset = 0;
    std::uint64_t length = 0;
    std::string vr; ///< value representation, two letters; empty where the encoding leaves it out
};

/// A tag as group and element in one number: (7FE0,0010) is 0x7FE00010.
using DicomTag = std::uint32_t;

namespace dicom {
constexpr DicomTag transfer_syntax = 0x00020010;
constexpr DicomTag float_pixels = 0x7FE00008, double_pixels = 0x7FE00009, pixels = 0x7FE00010;
} // namespace dicom

/// The outermost level of a DICOM or DICONDE file: which elements it holds and where. Sequences are passed
/// over.
///
/// Own code, because the usual library descends into sequences by recursion: a file of 0.2 MB with ten
/// thousand of them inside each other overflows its stack. The walk keeps its place on the heap and ends at
/// the pixels.
class DicomScan {
  public:
    /// What a file without pixels is: wrong, or one of the other things that lie beside a series' slices.
    enum class Pixels { needed, optional };
    /// Throws Error(input): elements that reach beyond the file, or no pixels at all where they are needed.
    explicit DicomScan(const SourceFile& file, Pixels pixels = Pixels::needed);

    [[nodiscard]] bool has_pixels() const { return pixel_tag_ != 0; }

    [[nodiscard]] bool big_endian() const { return big_endian_; }
    [[nodiscard]] const std::string& transfer_syntax() const { return transfer_syntax_; }
    /// The pixels' element and, when they are stored in fragments, those (the offset table left out).
    [[nodiscard]] DicomTag pixel_tag() const { return pixel_tag_; }
    [[nodiscard]] const DicomElement& pixels() const { return elements_.at(pixel_tag_); }
    [[nodiscard]] bool in_fragments() const { return in_fragments_; }
    [[nodiscard]] const std::vector<DicomElement>& fragments() const { return fragments_; }

    [[nodiscard]] bool has(DicomTag tag) const { return elements_.contains(tag); }
    /// A 16-bit number.
    [[nodiscard]] std::optional<int> small_number(DicomTag tag) const;
    /// Text without the padding at its ends; empty when absent.
    [[nodiscard]] std::string text(DicomTag tag) const;
    /// Decimal numbers in text, separated by backslashes; empty when absent or not all numbers.
    [[nodiscard]] std::vector<double> numbers(DicomTag tag) const;

  private:
    class Walk;
    const SourceFile& file_;
    bool big_endian_ = false;
    std::string transfer_syntax_;
    DicomTag pixel_tag_ = 0;
    bool in_fragments_ = false;
    std::map<DicomTag, DicomElement> elements_;
    std::vector<DicomElement> fragments_;
};

/// The mark behind the preamble, in which another format's first bytes may stand.
bool has_dicom_mark(std::span<const std::byte> head);
/// Whether the first bytes look like DICOM: the mark behind the preamble, or a first element that makes
/// sense.
bool looks_like_dicom(std::span<const std::byte> head);

} // namespace ringwall::files
