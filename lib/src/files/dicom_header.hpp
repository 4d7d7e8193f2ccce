// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/dicom_codec.hpp"
#include "files/plain_samples.hpp"
#include "files/readers.hpp"

namespace ringwall::files {

struct DicomRescale {
    double slope = 1, intercept = 0;
};

/// What the elements say of the pixels, checked; sizes against the limits and the file.
struct DicomHeader {
    DicomLayout layout;
    DicomRescale rescale;
    SourceFacts facts;
};
/// Throws Error(input).
DicomHeader read_dicom_header(const SourceFile& file, const DicomScan& scan, const LoadLimits& limits);

/// How to read a frame's bytes where they lie; nothing when they are packed, coloured or turned in pairs.
std::optional<PlainSamples> plain_dicom_samples(const DicomScan& scan, const DicomHeader& header);

/// PixelSpacing as x and y in mm, whatever it is said to hold for.
std::optional<std::array<double, 2>> dicom_pixel_spacing(const DicomScan& scan);

} // namespace ringwall::files
