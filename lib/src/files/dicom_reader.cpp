// SPDX-License-Identifier: Apache-2.0
// Meaning of the elements: DICOM PS3.3, C.7.6.3 (pixels), C.8.11.3 (digital radiographs), 10.7 (calibration
// of the pixel spacing). DICONDE (ASTM E2339) uses the same ones.
#include "files/bytes.hpp"
#include "files/dicom_header.hpp"
#include "files/readers.hpp"

#include <bit>
#include <cmath>
#include <cstring>

namespace ringwall::files {
namespace {

constexpr DicomTag sop_class = 0x00080016, presentation_intent = 0x00080068;
constexpr DicomTag magnification = 0x00181114, imager_spacing = 0x00181164, scanned_spacing = 0x00182010;
constexpr DicomTag samples_per_pixel = 0x00280002, photometric = 0x00280004, planar = 0x00280006,
                   frames = 0x00280008;
constexpr DicomTag rows = 0x00280010, columns = 0x00280011, pixel_spacing = 0x00280030,
                   bits_allocated = 0x00280100;
constexpr DicomTag bits_stored = 0x00280101, high_bit = 0x00280102, pixel_representation = 0x00280103;
constexpr DicomTag calibration_type = 0x00280A02, intensity_relationship = 0x00281040,
                   intensity_sign = 0x00281041;
constexpr DicomTag rescale_intercept = 0x00281052, rescale_slope = 0x00281053, lossy = 0x00282110,
                   modality_table = 0x00283000;
constexpr DicomTag image_plane_spacing = 0x30020011, shared_groups = 0x52009229;

DicomLayout read_layout(const SourceFile& file, const DicomScan& scan) {
    DicomLayout layout;
    const auto high = scan.small_number(rows), wide = scan.small_number(columns);
    if (!high || !wide) file.refuse("is a DICOM file without a picture's size");
    layout.rows = *high;
    layout.columns = *wide;
    layout.samples = scan.small_number(samples_per_pixel).value_or(1);
    layout.planes = layout.samples > 1 && scan.small_number(planar).value_or(0) == 1;
    const int bits = scan.pixel_tag() == dicom::float_pixels    ? 32
                     : scan.pixel_tag() == dicom::double_pixels ? 64
                                                                : 16;
    layout.bits_allocated = scan.small_number(bits_allocated).value_or(bits);
    layout.bits_stored = scan.small_number(bits_stored).value_or(layout.bits_allocated);
    layout.high_bit = scan.small_number(high_bit).value_or(layout.bits_stored - 1);
    layout.is_signed = scan.small_number(pixel_representation).value_or(0) == 1;
    layout.photometric = scan.text(photometric);
    if (layout.photometric.empty() && layout.samples == 1) layout.photometric = "MONOCHROME2";
    return layout;
}

void check_layout(const SourceFile& file, const DicomScan& scan, const DicomLayout& layout) {
    const std::string allocated = std::to_string(layout.bits_allocated);
    if (scan.pixel_tag() != dicom::pixels) {
        const int bits = scan.pixel_tag() == dicom::float_pixels ? 32 : 64;
        if (layout.bits_allocated != bits || layout.samples != 1 || scan.in_fragments())
            file.refuse("is a damaged DICOM file: its float pixels do not fit its header");
        return;
    }
    if (layout.bits_allocated != 8 && layout.bits_allocated != 16 && layout.bits_allocated != 32)
        file.refuse("is a DICOM file of " + allocated + " bits a sample, expected 8, 16 or 32");
    if (layout.bits_stored < 1 || layout.bits_stored > layout.bits_allocated ||
        layout.high_bit < layout.bits_stored - 1 || layout.high_bit >= layout.bits_allocated)
        file.refuse("is a damaged DICOM file: " + std::to_string(layout.bits_stored) + " bits up to bit " +
                    std::to_string(layout.high_bit) + " of " + allocated);
    const bool grey = layout.photometric == "MONOCHROME1" || layout.photometric == "MONOCHROME2";
    const bool colour = layout.photometric == "RGB" || layout.photometric == "YBR_FULL" ||
                        (layout.photometric == "YBR_FULL_422" && scan.in_fragments());
    if (!(grey && layout.samples == 1) && !(colour && layout.samples == 3 && layout.bits_allocated == 8))
        file.refuse("is a DICOM picture of the kind '" + clean_line(layout.photometric) + "' with " +
                    std::to_string(layout.samples) + " channels, expected grey or RGB");
    if (scan.in_fragments() == (scan.transfer_syntax().empty() ||
                                scan.transfer_syntax().size() <= std::strlen("1.2.840.10008.1.2.1")))
        if (scan.transfer_syntax() != "1.2.840.10008.1.2.5")
            file.refuse("is a damaged DICOM file: its pixels are not packed as its transfer syntax says");
}

DicomRescale read_rescale(const SourceFile& file, const DicomScan& scan) {
    DicomRescale rescale;
    const auto slope = scan.numbers(rescale_slope), intercept = scan.numbers(rescale_intercept);
    if (!slope.empty()) rescale.slope = slope[0];
    if (!intercept.empty()) rescale.intercept = intercept[0];
    if (rescale.slope == 0) file.refuse("is a damaged DICOM file: its rescale slope is 0");
    return rescale;
}

/// Two lengths in mm, row distance (y) first, as x and y.
std::optional<std::array<double, 2>> spacing_at(const DicomScan& scan, DicomTag tag) {
    const auto values = scan.numbers(tag);
    if (values.size() != 2 || !(values[0] > 0) || !(values[1] > 0)) return std::nullopt;
    return std::array<double, 2>{values[1], values[0]};
}

std::string spacing_words(const std::array<double, 2>& mm) {
    return number(mm[0]) + (mm[0] == mm[1] ? "" : " x " + number(mm[1])) + " mm";
}

bool slice_class(const std::string& uid) {
    return uid == "1.2.840.10008.5.1.4.1.1.2" || uid == "1.2.840.10008.5.1.4.1.1.2.1" ||
           uid == "1.2.840.10008.5.1.4.1.1.4";
}

/// In a projection a spacing holds for one plane. It is the board's only when the file says that it was
/// calibrated there, or gives the magnification; otherwise it may as well be the detector's, several times
/// larger.
void read_scale(const DicomScan& scan, SourceFacts& facts) {
    const auto board = spacing_at(scan, pixel_spacing), detector = spacing_at(scan, imager_spacing);
    const std::string calibration = scan.text(calibration_type);
    if (board && (calibration == "FIDUCIAL" || calibration == "GEOMETRY")) {
        const std::string how =
            calibration == "FIDUCIAL" ? "by an object of known size" : "by the stated geometry";
        return take_spacing(facts, *board,
                            "DICOM PixelSpacing, " + spacing_words(*board) + ", calibrated " + how);
    }
    if (board && slice_class(scan.text(sop_class)))
        return take_spacing(facts, *board, "DICOM PixelSpacing of a slice, " + spacing_words(*board));
    if (board)
        facts.notes.push_back("DICOM PixelSpacing, " + spacing_words(*board) +
                              " ignored: not said to be calibrated at the board");
    const auto factor = scan.numbers(magnification);
    if (detector && !factor.empty() && std::isfinite(factor[0]) && factor[0] >= 1) {
        const std::array<double, 2> mm = {(*detector)[0] / factor[0], (*detector)[1] / factor[0]};
        return take_spacing(facts, mm,
                            "DICOM ImagerPixelSpacing, " + spacing_words(*detector) +
                                ", divided by the stated magnification " + number(factor[0]));
    }
    if (detector)
        facts.notes.push_back("DICOM ImagerPixelSpacing, " + spacing_words(*detector) +
                              " ignored: at the detector, and no magnification is stated");
    for (const DicomTag tag : {scanned_spacing, image_plane_spacing})
        if (const auto other = spacing_at(scan, tag))
            facts.notes.push_back("DICOM spacing, " + spacing_words(*other) + " ignored: not at the board");
}

void read_radiometry(const DicomScan& scan, SourceFacts& facts) {
    const std::string relationship = scan.text(intensity_relationship),
                      intent = scan.text(presentation_intent);
    const bool falls = scan.small_number(intensity_sign).value_or(1) == 0xFFFF; // -1
    if (intent == "FOR PRESENTATION" || relationship == "DISP")
        facts.radiometry = Radiometry::display;
    else if (relationship == "LOG")
        facts.radiometry = Radiometry::log;
    else if (relationship == "LIN" && !falls)
        facts.radiometry = Radiometry::linear;
    else if (relationship == "LIN")
        facts.notes.emplace_back(
            "linear with greater values for less radiation: no zero is stated, so taken as unknown");
}

SourceFacts read_facts(const DicomScan& scan, const DicomLayout& layout, const DicomRescale& rescale) {
    SourceFacts facts;
    facts.format = "DICOM";
    facts.is_float = scan.pixel_tag() != dicom::pixels;
    facts.bits = facts.is_float ? layout.bits_allocated : layout.bits_stored;
    if (!facts.is_float) {
        const SampleFormat format{
            layout.is_signed ? SampleKind::signed_integer : SampleKind::unsigned_integer, layout.bits_stored};
        const double low = lowest_of(format) * rescale.slope + rescale.intercept,
                     high = highest_of(format) * rescale.slope + rescale.intercept;
        facts.lowest_value = std::min(low, high);
        facts.full_scale = std::max(low, high);
    }
    facts.lossy = lossy_syntax(scan.transfer_syntax()) || scan.text(lossy) == "01";
    facts.colour = layout.samples > 1;
    facts.inverted_scale = layout.photometric == "MONOCHROME1";
    const auto count = scan.numbers(frames);
    facts.pages = count.empty() ? 1 : static_cast<int>(std::clamp(count[0], 1.0, 1e9));
    if (scan.has(modality_table))
        facts.notes.emplace_back("the modality table of the DICOM file is not applied");
    if (scan.has(shared_groups))
        facts.notes.emplace_back("rescaling and spacing in DICOM functional groups are not applied");
    read_scale(scan, facts);
    read_radiometry(scan, facts);
    return facts;
}

/// Bits beside the stored ones may hold anything (overlays once lay there); signs are carried up.
template<typename T>
void clean_bits(std::span<std::byte> row, const DicomLayout& layout) {
    const int above = layout.bits_allocated - 1 - layout.high_bit,
              unused = layout.bits_allocated - layout.bits_stored;
    for (std::size_t at = 0; at + sizeof(T) <= row.size(); at += sizeof(T)) {
        T value;
        std::memcpy(&value, row.data() + at, sizeof value);
        value = static_cast<T>(static_cast<T>(value << above) >> unused); // arithmetic for signed T
        std::memcpy(row.data() + at, &value, sizeof value);
    }
}

void clean_bits(std::span<std::byte> row, const DicomLayout& layout) {
    if (layout.bits_stored == layout.bits_allocated) return;
    if (layout.bits_allocated == 8)
        layout.is_signed ? clean_bits<std::int8_t>(row, layout) : clean_bits<std::uint8_t>(row, layout);
    if (layout.bits_allocated == 16)
        layout.is_signed ? clean_bits<std::int16_t>(row, layout) : clean_bits<std::uint16_t>(row, layout);
    if (layout.bits_allocated == 32)
        layout.is_signed ? clean_bits<std::int32_t>(row, layout) : clean_bits<std::uint32_t>(row, layout);
}

/// Gives out pieces of the first frame in the machine's byte order, from the file or from a decoded frame.
class FrameBytes {
  public:
    FrameBytes(const SourceFile& file, const DicomScan& scan, const DicomLayout& layout)
        : file_(file), start_(scan.pixels().offset),
          sample_(static_cast<std::size_t>(layout.bits_allocated) / 8),
          swap_(scan.big_endian() != (std::endian::native == std::endian::big)),
          // Bytes in 16-bit words: in the other byte order each pair is turned round.
          pairs_(swap_ && sample_ == 1 && scan.pixels().vr == "OW") {
        if (!scan.in_fragments()) return;
        decoded_ = decode_dicom_frame(file, scan, layout);
        from_codec_ = true;
    }
    [[nodiscard]] bool from_codec() const { return from_codec_; }
    [[nodiscard]] const std::string& photometric() const { return decoded_.photometric; }

    void read(std::uint64_t offset, std::span<std::byte> out) const {
        if (from_codec_) {
            std::copy_n(decoded_.bytes.begin() + static_cast<std::ptrdiff_t>(offset), out.size(),
                        out.begin());
            return;
        }
        if (!file_.read_all(start_ + offset, out)) file_.refuse("is a cut-off DICOM file");
        if (pairs_)
            turn_pairs(offset, out);
        else if (swap_)
            swap_samples(out, sample_);
    }

  private:
    void turn_pairs(std::uint64_t offset, std::span<std::byte> out) const {
        const std::uint64_t first = offset & ~std::uint64_t{1};
        std::vector<std::byte> words((out.size() + 3) & ~std::size_t{1});
        file_.read_some(start_ + first, words.data(), words.size());
        for (std::size_t i = 0; i < out.size(); ++i)
            out[i] = words[static_cast<std::size_t>(offset - first + i) ^ 1];
    }

    const SourceFile& file_;
    std::uint64_t start_;
    std::size_t sample_;
    bool swap_, pairs_;
    bool from_codec_ = false;
    DicomFrame decoded_;
};

SampleFormat sample_format(const DicomScan& scan, const DicomLayout& layout) {
    SampleFormat format{layout.is_signed ? SampleKind::signed_integer : SampleKind::unsigned_integer,
                        layout.bits_allocated};
    if (scan.pixel_tag() != dicom::pixels) format.kind = SampleKind::floating;
    return format;
}

RowConverter converter(const DicomScan& scan, const DicomLayout& layout, const std::string& colours) {
    // The first channel of YBR is the luma that grey is made of anyway.
    return {sample_format(scan, layout), colours == "RGB" ? ColourModel::rgb : ColourModel::grey,
            layout.samples};
}

void decode(const SourceFile& file, const DicomScan& scan, const DicomLayout& layout,
            Radiograph& radiograph) {
    const FrameBytes frame(file, scan, layout);
    const std::string colours =
        frame.from_codec() && !frame.photometric().empty() ? frame.photometric() : layout.photometric;
    RowConverter converting = converter(scan, layout, colours);
    const bool planes = layout.planes && !frame.from_codec();
    const std::size_t sample = static_cast<std::size_t>(layout.bits_allocated) / 8,
                      width = static_cast<std::size_t>(layout.columns);
    const std::size_t row_bytes = width * sample * (planes ? 1 : static_cast<std::size_t>(layout.samples));
    std::vector<std::vector<std::byte>> lines(planes ? static_cast<std::size_t>(layout.samples) : 1,
                                              std::vector<std::byte>(row_bytes));
    std::vector<const std::byte*> starts;
    starts.reserve(lines.size());
    for (const auto& line : lines)
        starts.push_back(line.data());
    for (int y = 0; y < layout.rows; ++y) {
        for (std::size_t plane = 0; plane < lines.size(); ++plane) {
            frame.read((plane * static_cast<std::size_t>(layout.rows) + static_cast<std::size_t>(y)) *
                           row_bytes,
                       lines[plane]);
            if (scan.pixel_tag() == dicom::pixels) clean_bits(lines[plane], layout);
        }
        float* out = radiograph.values.view().row(y);
        if (planes)
            converting.separate(starts, layout.columns, out);
        else
            converting.interleaved(lines[0].data(), layout.columns, out);
    }
    finish_rows(file, radiograph, converting);
    if (colours.starts_with("YBR")) radiograph.facts.colour = true;
}

} // namespace

DicomHeader read_dicom_header(const SourceFile& file, const DicomScan& scan, const LoadLimits& limits) {
    DicomHeader header;
    const DicomLayout layout = read_layout(file, scan);
    const auto width = static_cast<std::uint64_t>(layout.columns),
               height = static_cast<std::uint64_t>(layout.rows);
    check_size(file, width, height, limits);
    const std::string unsupported = unsupported_syntax(scan.transfer_syntax());
    if (!unsupported.empty())
        file.refuse("is a DICOM file packed as " + unsupported + ", which this version cannot read");
    check_layout(file, scan, layout);
    check_size(file, width, height, limits, scan.in_fragments() ? layout.frame_bytes() + file.size() : 0);
    header.layout = layout;
    header.rescale = read_rescale(file, scan);
    header.facts = read_facts(scan, layout, header.rescale);
    header.facts.width_px = layout.columns;
    header.facts.height_px = layout.rows;
    const std::uint64_t need = layout.frame_bytes() * static_cast<std::uint64_t>(header.facts.pages);
    if (!scan.in_fragments() && scan.pixels().length < need)
        file.refuse("is a cut-off DICOM file: its pixels take " + std::to_string(need) + " bytes, got " +
                    std::to_string(scan.pixels().length));
    return header;
}

std::optional<PlainSamples> plain_dicom_samples(const DicomScan& scan, const DicomHeader& header) {
    const DicomLayout& layout = header.layout;
    const bool words_of_bytes = scan.big_endian() && layout.bits_allocated == 8;
    if (scan.in_fragments() || layout.samples != 1 || words_of_bytes) return std::nullopt;
    PlainSamples samples;
    samples.format = sample_format(scan, layout);
    samples.swap = PlainSamples::swapped(scan.big_endian());
    samples.slope = header.rescale.slope;
    samples.intercept = header.rescale.intercept;
    if (scan.pixel_tag() == dicom::pixels && layout.bits_stored != layout.bits_allocated)
        samples.tidy = [layout](std::span<std::byte> rows) { clean_bits(rows, layout); };
    return samples;
}

std::optional<std::array<double, 2>> dicom_pixel_spacing(const DicomScan& scan) {
    return spacing_at(scan, pixel_spacing);
}

Radiograph read_dicom(const SourceFile& file, const LoadLimits& limits, Want want) {
    const DicomScan scan(file);
    DicomHeader header = read_dicom_header(file, scan, limits);
    Radiograph radiograph;
    radiograph.facts = std::move(header.facts);
    if (want == Want::facts) return radiograph;
    check_single_page(file, radiograph.facts);
    radiograph.values = make_picture(file, radiograph.facts);
    decode(file, scan, header.layout, radiograph);
    rescale(radiograph.values.view(), header.rescale.slope, header.rescale.intercept);
    finish_picture(file, radiograph);
    return radiograph;
}

} // namespace ringwall::files
