// SPDX-License-Identifier: Apache-2.0
#include "files/tiff_layout.hpp"

#include <algorithm>
#include <cstdlib>

namespace ringwall::files {
namespace {

SampleFormat sample_format(const SourceFile& file, const TiffHandle& tiff) {
    SampleFormat format;
    format.bits = tiff.tag<std::uint16_t>(TIFFTAG_BITSPERSAMPLE, 1);
    const auto stated = tiff.tag<std::uint16_t>(TIFFTAG_SAMPLEFORMAT, SAMPLEFORMAT_UINT);
    if (stated == SAMPLEFORMAT_INT)
        format.kind = SampleKind::signed_integer;
    else if (stated == SAMPLEFORMAT_IEEEFP)
        format.kind = SampleKind::floating;
    else if (stated != SAMPLEFORMAT_UINT && stated != SAMPLEFORMAT_VOID)
        file.refuse("holds complex numbers, expected grey values");
    if (!supported(format))
        file.refuse("has " + std::to_string(format.bits) +
                    (format.kind == SampleKind::floating ? "-bit float" : "-bit integer") +
                    " samples, expected integers of 1 to 32 or 64 bits or floats of 16, 24, 32 or 64");
    return format;
}

ColourModel colour_model(const SourceFile& file, const TiffHandle& tiff, const TiffLayout& layout) {
    switch (layout.photometric) {
    case PHOTOMETRIC_MINISBLACK:
    case PHOTOMETRIC_MINISWHITE:
        return ColourModel::grey;
    case PHOTOMETRIC_PALETTE:
        return ColourModel::palette;
    case PHOTOMETRIC_RGB:
        return ColourModel::rgb;
    case PHOTOMETRIC_SEPARATED:
        return ColourModel::cmyk;
    case PHOTOMETRIC_YCBCR:
        if (layout.compression != COMPRESSION_JPEG)
            file.refuse("holds YCbCr colour without JPEG compression, expected grey or RGB");
        TIFFSetField(tiff.get(), TIFFTAG_JPEGCOLORMODE, JPEGCOLORMODE_RGB);
        return ColourModel::rgb;
    default:
        file.refuse("has the colour interpretation " + std::to_string(layout.photometric) +
                    ", expected grey, palette, RGB or CMYK");
    }
}

void check_layout(const SourceFile& file, const TiffLayout& layout) {
    const bool integer = layout.format.kind == SampleKind::unsigned_integer;
    if (layout.samples < channels_of(layout.model))
        file.refuse("has " + std::to_string(layout.samples) + " channels, expected " +
                    std::to_string(channels_of(layout.model)));
    if (layout.model == ColourModel::palette && (!integer || layout.format.bits > 16 || layout.samples != 1))
        file.refuse("has a palette, but no plain palette indices of at most 16 bits");
    if (layout.model == ColourModel::cmyk && !integer)
        file.refuse("holds CMYK colour that is no plain unsigned integer");
    // Some programs write a stack as the channels of one page.
    if (layout.model == ColourModel::grey && layout.samples > 2)
        file.refuse("holds " + std::to_string(layout.samples) +
                    " grey channels, which is a slice stack, expected one projection picture");
    if (TIFFIsCODECConfigured(layout.compression) == 0)
        file.refuse("uses the TIFF compression " + std::to_string(layout.compression) +
                    ", which this TIFF library cannot decode");
}

void take_tiff_resolution(const TiffHandle& tiff, SourceFacts& facts, std::optional<double> unit_mm) {
    float x = 0, y = 0;
    if (TIFFGetField(tiff.get(), TIFFTAG_XRESOLUTION, &x) != 1 ||
        TIFFGetField(tiff.get(), TIFFTAG_YRESOLUTION, &y) != 1)
        return;
    const auto unit = tiff.tag<std::uint16_t>(TIFFTAG_RESOLUTIONUNIT, RESUNIT_INCH);
    const std::string value = number(x) + (x == y ? "" : " x " + number(y));
    if (unit == RESUNIT_CENTIMETER)
        take_resolution(facts, {x / 10.0, y / 10.0}, "TIFF resolution, " + value + " per cm");
    else if (unit == RESUNIT_INCH)
        take_resolution(facts, {x / 25.4, y / 25.4}, "TIFF resolution, " + value + " per inch");
    else if (unit_mm)
        take_resolution(facts, {x / *unit_mm, y / *unit_mm},
                        "TIFF resolution, " + value + " per " + number(*unit_mm) +
                            " mm (its description's unit)");
    else if (x != 1 || y != 1)
        facts.notes.push_back("TIFF resolution, " + value + " ignored: no unit of length");
}

bool lossy(std::uint16_t compression) {
    constexpr std::array<std::uint16_t, 5> kinds = {COMPRESSION_OJPEG, COMPRESSION_JPEG, COMPRESSION_JP2000,
                                                    COMPRESSION_WEBP,
                                                    34892 /* lossy JPEG of raw camera files */};
    return std::find(kinds.begin(), kinds.end(), compression) != kinds.end();
}

} // namespace

TiffLayout read_tiff_layout(const SourceFile& file, const TiffHandle& tiff) {
    TiffLayout layout;
    layout.compression = tiff.tag<std::uint16_t>(TIFFTAG_COMPRESSION, COMPRESSION_NONE);
    layout.samples = tiff.tag<std::uint16_t>(TIFFTAG_SAMPLESPERPIXEL, 1);
    std::uint16_t photometric = 0;
    // Without the tag the samples are taken as they are.
    layout.photometric = TIFFGetField(tiff.get(), TIFFTAG_PHOTOMETRIC, &photometric) == 1 ? photometric
                         : layout.samples >= 3 ? std::uint16_t{PHOTOMETRIC_RGB}
                                               : std::uint16_t{PHOTOMETRIC_MINISBLACK};
    layout.model = colour_model(file, tiff, layout);
    layout.format = sample_format(file, tiff);
    layout.separate =
        layout.samples > 1 &&
        tiff.tag<std::uint16_t>(TIFFTAG_PLANARCONFIG, PLANARCONFIG_CONTIG) == PLANARCONFIG_SEPARATE;
    layout.tiled = TIFFIsTiled(tiff.get()) != 0;
    check_layout(file, layout);
    return layout;
}

std::uint64_t tiff_working_bytes(const TiffHandle& tiff, const TiffLayout& layout) {
    const std::uint64_t planes = layout.separate ? static_cast<std::uint64_t>(channels_of(layout.model)) : 1;
    std::uint64_t block = TIFFScanlineSize64(tiff.get());
    if (layout.tiled)
        block = TIFFTileSize64(tiff.get());
    else if (layout.separate)
        block = TIFFStripSize64(tiff.get());
    constexpr std::uint64_t most = std::uint64_t{1} << 50;
    return std::min(block, most) * planes;
}

SourceFacts read_tiff_facts(const TiffHandle& tiff, const TiffLayout& layout, std::optional<double> unit_mm) {
    SourceFacts facts;
    facts.format = "TIFF";
    facts.bits = layout.format.bits;
    facts.is_float = layout.format.kind == SampleKind::floating;
    facts.lowest_value = lowest_of(layout.format);
    facts.full_scale = layout.model == ColourModel::palette ? 255 : highest_of(layout.format);
    if (layout.model == ColourModel::palette) facts.bits = 8;
    facts.lossy = lossy(layout.compression);
    facts.colour = channels_of(layout.model) > 1 || layout.model == ColourModel::palette;
    facts.inverted_scale = layout.photometric == PHOTOMETRIC_MINISWHITE;
    if (layout.samples > channels_of(layout.model))
        facts.notes.push_back(std::to_string(layout.samples - channels_of(layout.model)) +
                              " further channel (transparency or the like) ignored");
    const auto orientation = tiff.tag<std::uint16_t>(TIFFTAG_ORIENTATION, ORIENTATION_TOPLEFT);
    if (orientation != ORIENTATION_TOPLEFT)
        facts.notes.push_back("orientation tag " + std::to_string(orientation) +
                              " not applied: the picture is taken as stored");
    take_tiff_resolution(tiff, facts, unit_mm);
    return facts;
}

std::string tiff_description(const TiffHandle& tiff) {
    const char* words = nullptr;
    const bool stated = TIFFGetField(tiff.get(), TIFFTAG_IMAGEDESCRIPTION, &words) == 1 && words != nullptr;
    return stated ? words : "";
}

std::string described(const std::string& description, const std::string& key) {
    const std::string start = key + "=";
    for (std::size_t at = 0; at < description.size();) {
        const std::size_t end = std::min(description.find_first_of("\r\n", at), description.size());
        if (description.compare(at, start.size(), start) == 0)
            return description.substr(at + start.size(), end - std::min(end, at + start.size()));
        at = end + 1;
    }
    return {};
}

int slices_in_description(const std::string& description) {
    const long count = std::strtol(described(description, "images").c_str(), nullptr, 10);
    return count > 1 && count < 1L << 30 ? static_cast<int>(count) : 1;
}

} // namespace ringwall::files
