// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/checks.hpp"

namespace ringwall::files {

// One reader a format. All: facts with the file's own statements (no hash), and with Want::picture the
// pixels; throw Error(input) on anything that is not wholly right, several pages included when the picture is
// wanted.
Radiograph read_tiff(const SourceFile& file, const LoadLimits& limits, Want want);
Radiograph read_png(const SourceFile& file, const LoadLimits& limits, Want want);
Radiograph read_jpeg(const SourceFile& file, const LoadLimits& limits, Want want);
Radiograph read_bmp(const SourceFile& file, const LoadLimits& limits, Want want);
Radiograph read_meta_image(const SourceFile& file, const LoadLimits& limits, Want want);
Radiograph read_dicom(const SourceFile& file, const LoadLimits& limits, Want want);
Radiograph read_nrrd(const SourceFile& file, const LoadLimits& limits, Want want);

enum class FileKind { unknown, tiff, png, jpeg, bmp, nrrd, meta_image, dicom };

/// By content: the name's ending is what people type, the first bytes are what the file is.
FileKind kind_of(const SourceFile& file);
using PictureReader = Radiograph (*)(const SourceFile&, const LoadLimits&, Want);
/// Null for an unknown kind.
PictureReader reader_of(FileKind kind);
/// Throws Error(input): the kinds that there are.
[[noreturn]] void refuse_unknown(const SourceFile& file);

} // namespace ringwall::files
