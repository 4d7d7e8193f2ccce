// SPDX-License-Identifier: Apache-2.0
#include "files/dicom_codec.hpp"

#include <algorithm>
#include <array>
#include <dcmtk/config/osconfig.h> // before any other header of DCMTK
#include <dcmtk/dcmdata/dcpixseq.h>
#include <dcmtk/dcmdata/dcpxitem.h>
#include <dcmtk/dcmdata/dctk.h>
#include <dcmtk/dcmjpeg/djdecode.h>
#include <dcmtk/dcmjpls/djdecode.h>
#include <dcmtk/oflog/oflog.h>
#include <mutex>

namespace ringwall::files {
namespace {

constexpr std::string_view root = "1.2.840.10008.1.2";

void set_up_codecs() {
    static std::once_flag once;
    std::call_once(once, [] {
        OFLog::configure(OFLogger::OFF_LOG_LEVEL);
        DJDecoderRegistration::registerCodecs(EDC_photometricInterpretation, EUC_never, EPC_colorByPixel);
        DJLSDecoderRegistration::registerCodecs(EJLSUC_never, EJLSPC_colorByPixel);
    });
}

/// The part of the standard's own numbers behind its root, "4.50" and the like.
std::string tail(const std::string& transfer_syntax) {
    if (!transfer_syntax.starts_with(root)) return "?";
    return transfer_syntax.size() > root.size() + 1 ? transfer_syntax.substr(root.size() + 1) : std::string();
}

bool jpeg(const std::string& transfer_syntax) {
    return tail(transfer_syntax).starts_with("4.5") || tail(transfer_syntax).starts_with("4.7") ||
           tail(transfer_syntax).starts_with("4.6");
}

/// The codec fills up a JPEG that ends early; a whole one has its end mark, perhaps with padding behind it.
void check_end_mark(const SourceFile& file, std::span<const std::byte> fragment) {
    constexpr std::size_t most_padding = 16;
    const auto is = [&](std::size_t at, int value) { return fragment[at] == static_cast<std::byte>(value); };
    for (std::size_t padding = 0; padding <= most_padding && padding + 2 <= fragment.size(); ++padding) {
        const std::size_t at = fragment.size() - padding - 2;
        if (is(at, 0xFF) && is(at + 1, 0xD9)) return;
        if (!is(at + 1, 0) && !is(at + 1, 0xFF)) break;
    }
    file.refuse("is damaged: the JPEG in its pixels is cut off");
}

std::vector<std::byte> joined_fragments(const SourceFile& file, const DicomScan& scan) {
    std::vector<std::byte> all;
    for (const DicomElement& fragment : scan.fragments()) {
        all.resize(all.size() + static_cast<std::size_t>(fragment.length));
        if (!file.read_all(fragment.offset, std::span(all).last(static_cast<std::size_t>(fragment.length))))
            file.refuse("is a cut-off DICOM file");
    }
    return all;
}

std::unique_ptr<DcmPixelSequence> read_fragments(const SourceFile& file, const DicomScan& scan) {
    auto sequence = std::make_unique<DcmPixelSequence>(DcmTag(DCM_PixelData, EVR_OB));
    sequence->insert(new DcmPixelItem(DcmTag(DCM_PixelItemTag, EVR_OB))); // an empty offset table
    std::vector<std::byte> bytes;
    for (const DicomElement& fragment : scan.fragments()) {
        bytes.resize(static_cast<std::size_t>(fragment.length));
        if (!file.read_all(fragment.offset, bytes)) file.refuse("is a cut-off DICOM file");
        auto item = std::make_unique<DcmPixelItem>(DcmTag(DCM_PixelItemTag, EVR_OB));
        item->putUint8Array(reinterpret_cast<const Uint8*>(bytes.data()),
                            static_cast<unsigned long>(bytes.size()));
        sequence->insert(item.release());
    }
    if (bytes.empty()) file.refuse("is damaged: its pixels hold no bytes");
    if (jpeg(scan.transfer_syntax())) check_end_mark(file, bytes);
    return sequence;
}

/// What the codecs look up, and nothing else.
void describe(DcmDataset& data, const DicomLayout& layout) {
    const auto put = [&](const DcmTagKey& key, int value) {
        data.putAndInsertUint16(DcmTag(key, EVR_US), static_cast<Uint16>(value));
    };
    put(DCM_SamplesPerPixel, layout.samples);
    data.putAndInsertString(DcmTag(DCM_PhotometricInterpretation, EVR_CS), layout.photometric.c_str());
    if (layout.samples > 1) put(DCM_PlanarConfiguration, layout.planes ? 1 : 0);
    put(DCM_Rows, layout.rows);
    put(DCM_Columns, layout.columns);
    put(DCM_BitsAllocated, layout.bits_allocated);
    put(DCM_BitsStored, layout.bits_stored);
    put(DCM_HighBit, layout.high_bit);
    put(DCM_PixelRepresentation, layout.is_signed ? 1 : 0);
}

} // namespace

std::string unsupported_syntax(const std::string& transfer_syntax) {
    const std::string kind = tail(transfer_syntax);
    if (transfer_syntax.empty() || kind.empty() || kind == "1" || kind == "2" || kind == "5" ||
        kind == "4.80" || kind == "4.81")
        return {};
    if (kind == "4.50" || kind == "4.51" || kind == "4.53" || kind == "4.55" || kind == "4.57" ||
        kind == "4.70")
        return {};
    if (kind == "4.90" || kind == "4.91" || kind == "4.92" || kind == "4.93") return "JPEG 2000";
    if (kind.starts_with("4.20")) return "high-throughput JPEG 2000";
    if (kind.starts_with("4.10")) return "a video format";
    return "the transfer syntax " + clean_line(transfer_syntax);
}

bool lossy_syntax(const std::string& transfer_syntax) {
    constexpr std::array<std::string_view, 5> kinds = {"4.50", "4.51", "4.53", "4.55", "4.81"};
    return std::find(kinds.begin(), kinds.end(), tail(transfer_syntax)) != kinds.end();
}

DicomFrame decode_dicom_frame(const SourceFile& file, const DicomScan& scan, const DicomLayout& layout) {
    if (tail(scan.transfer_syntax()) == "5")
        return {decode_dicom_runs(file, joined_fragments(file, scan), layout), layout.photometric};
    set_up_codecs();
    DcmDataset data;
    describe(data, layout);
    const DcmXfer syntax(scan.transfer_syntax().c_str());
    auto element = std::make_unique<DcmPixelData>(DcmTag(DCM_PixelData, EVR_OB));
    element->putOriginalRepresentation(syntax.getXfer(), nullptr, read_fragments(file, scan).release());
    DcmPixelData& pixels = *element;
    if (data.insert(element.get()).bad()) file.refuse("is damaged: its pixels cannot be set up for decoding");
    static_cast<void>(element.release()); // the data set owns it now

    DicomFrame frame;
    frame.bytes.resize(
        static_cast<std::size_t>(layout.frame_bytes() + layout.frame_bytes() % 2)); // codecs fill whole words
    Uint32 first_fragment = 0;
    OFString photometric;
    const OFCondition outcome = pixels.getUncompressedFrame(
        &data, 0, first_fragment, frame.bytes.data(), static_cast<Uint32>(frame.bytes.size()), photometric);
    if (outcome.bad())
        file.refuse("is damaged: its compressed pixels cannot be decoded (" + clean_line(outcome.text()) +
                    ")");
    frame.photometric = photometric;
    return frame;
}

} // namespace ringwall::files
