// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/samples.hpp"
#include "files/source_file.hpp"
#include "ringwall/radiograph.hpp"

#include <array>
#include <string>

namespace ringwall::files {

/// Whether the pixels are wanted or only what the header says.
enum class Want { facts, picture };

/// Width and height as a header states them, before anything is allocated. Throws Error(input): zero, over
/// 2^31 pixels, or the picture as floats plus the decoder's `working_bytes` over the limit.
void check_size(const SourceFile& file, std::uint64_t width, std::uint64_t height, const LoadLimits& limits,
                std::uint64_t working_bytes = 0);

/// Throws Error(input) with a word about slice stacks when the facts count more than one page.
void check_single_page(const SourceFile& file, const SourceFacts& facts);

/// The float picture of the facts' size; out of memory is an Error(input) too.
Image<float> make_picture(const SourceFile& file, const SourceFacts& facts);

/// Last look at a decoded picture: refuses numbers that are not finite; fills the range of a float picture.
void finish_picture(const SourceFile& file, Radiograph& radiograph);

/// What the conversion of rows found out, into the facts; then finish_picture.
void finish_rows(const SourceFile& file, Radiograph& radiograph, const RowConverter& rows);

/// A resolution tag as a scale, when it can be trusted: pixels of 1 to 500 um, and not one of the 72, 96, 150
/// and 300 dots per inch that programs write when nobody measured anything. Else a note says why it was
/// ignored. `per_mm`: pixels a millimetre in x and y; `words`: the tag as stated, "TIFF resolution, 508 per
/// cm".
void take_resolution(SourceFacts& facts, std::array<double, 2> per_mm, const std::string& words);

/// A spacing in mm whose unit and place are certain: taken when finite and over 0, else noted.
void take_spacing(SourceFacts& facts, std::array<double, 2> pixel_xy_mm, const std::string& words);

/// Shortest decimal text of a number, with a point whatever the machine's language.
std::string number(double value);

} // namespace ringwall::files
