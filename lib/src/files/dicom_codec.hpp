// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/dicom_scan.hpp"

namespace ringwall::files {

/// How the pixels of a DICOM picture are laid out.
struct DicomLayout {
    int rows = 0, columns = 0;
    int samples = 1;
    int bits_allocated = 16, bits_stored = 16, high_bit = 15;
    bool is_signed = false;
    bool planes = false;     ///< channels one after the other, not pixel by pixel
    std::string photometric; ///< "MONOCHROME2", ...
    [[nodiscard]] std::uint64_t frame_bytes() const {
        return static_cast<std::uint64_t>(rows) * static_cast<std::uint64_t>(columns) *
               static_cast<std::uint64_t>(samples) * static_cast<std::uint64_t>(bits_allocated / 8);
    }
};

struct DicomFrame {
    std::vector<std::byte> bytes; ///< the machine's byte order
    std::string photometric;      ///< after decoding: what was YBR may be RGB now
};

/// In words when the transfer syntax cannot be read, empty when it can.
std::string unsupported_syntax(const std::string& transfer_syntax);
bool lossy_syntax(const std::string& transfer_syntax);

/// A frame from its run-length segments, least byte of each sample first. Throws Error(input).
std::vector<std::byte> decode_dicom_runs(const SourceFile& file, std::span<const std::byte> packed,
                                         const DicomLayout& layout);

/// The one frame that all fragments of the file make up: run-length by own code, JPEG and JPEG-LS through
/// DCMTK's codecs, which see nothing of the file but these bytes. Throws Error(input).
DicomFrame decode_dicom_frame(const SourceFile& file, const DicomScan& scan, const DicomLayout& layout);

} // namespace ringwall::files
