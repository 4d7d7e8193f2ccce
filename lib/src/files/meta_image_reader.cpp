// SPDX-License-Identifier: Apache-2.0
#include "files/raw_volume.hpp"

#include <map>

namespace ringwall::files {
namespace {

using Fields = std::map<std::string, std::string>;

struct Header {
    Fields fields;
    std::size_t end = 0; ///< first byte behind the header
};

/// "Key = value" lines up to the one that names the data, which is the last.
Header read_header(const SourceFile& file) {
    const std::string text = header_text(file);
    Header header;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = text.find('\n', at);
        if (end == std::string::npos) break;
        const std::string_view line = std::string_view(text).substr(at, end - at);
        const std::size_t sign = line.find('=');
        at = end + 1;
        if (trim(line).empty()) continue;
        if (sign == std::string_view::npos)
            file.refuse("is a damaged MetaImage: expected 'name = value', got '" +
                        clean_line(std::string(trim(line))) + "'");
        const std::string key(trim(line.substr(0, sign)));
        header.fields[key] = trim(line.substr(sign + 1));
        header.end = at;
        if (key == "ElementDataFile") return header;
    }
    file.refuse("is a damaged MetaImage: it does not say where its pixels are");
}

std::string field(const Header& header, const std::string& key) {
    const auto found = header.fields.find(key);
    return found == header.fields.end() ? std::string() : found->second;
}

bool yes(const Header& header, const std::string& key) {
    const std::string value = lower(field(header, key));
    return value == "true" || value == "t" || value == "1" || value == "yes";
}

SampleFormat sample_format(const SourceFile& file, const Header& header) {
    static const std::map<std::string, SampleFormat> kinds = {
        {"MET_CHAR", {SampleKind::signed_integer, 8}},
        {"MET_UCHAR", {SampleKind::unsigned_integer, 8}},
        {"MET_SHORT", {SampleKind::signed_integer, 16}},
        {"MET_USHORT", {SampleKind::unsigned_integer, 16}},
        {"MET_INT", {SampleKind::signed_integer, 32}},
        {"MET_UINT", {SampleKind::unsigned_integer, 32}},
        {"MET_LONG", {SampleKind::signed_integer, 32}},
        {"MET_ULONG", {SampleKind::unsigned_integer, 32}},
        {"MET_LONG_LONG", {SampleKind::signed_integer, 64}},
        {"MET_ULONG_LONG", {SampleKind::unsigned_integer, 64}},
        {"MET_FLOAT", {SampleKind::floating, 32}},
        {"MET_DOUBLE", {SampleKind::floating, 64}}};
    const auto found = kinds.find(field(header, "ElementType"));
    if (found == kinds.end())
        file.refuse("has the element type '" + clean_line(field(header, "ElementType")) +
                    "', expected a plain number like MET_USHORT");
    return found->second;
}

void read_dimensions(const SourceFile& file, const Header& header, RawVolume& volume) {
    const auto sizes = split_words(field(header, "DimSize"));
    const auto count = whole_number(field(header, "NDims"));
    if (!count || *count != sizes.size() || sizes.empty() || sizes.size() > 10)
        file.refuse("is a damaged MetaImage: NDims and DimSize do not agree");
    for (const auto& size : sizes) {
        const auto value = whole_number(size);
        if (!value)
            file.refuse("is a damaged MetaImage: expected whole numbers in DimSize, got '" +
                        clean_line(size) + "'");
        volume.size.push_back(*value);
    }
    const std::string channels = field(header, "ElementNumberOfChannels");
    const auto value = channels.empty() ? std::optional<std::uint64_t>(1) : whole_number(channels);
    if (!value) file.refuse("is a damaged MetaImage: expected a whole number of channels");
    volume.channels = *value;
}

/// The format knows a spacing without a unit; only with one is it a length.
void read_spacing(const Header& header, RawVolume& volume) {
    const auto words = split_words(field(header, "ElementSpacing"));
    if (words.size() < 2) return;
    const auto x = decimal_number(words[0]), y = decimal_number(words[1]),
               unit = unit_mm(field(header, "DistanceUnits"));
    const std::string stated = "MetaImage spacing, " + clean_line(words[0] + " x " + words[1] +
                                                                  (words.size() > 2 ? " x " + words[2] : ""));
    if (x && y && unit) {
        volume.spacing_mm = {*x * *unit, *y * *unit};
        volume.spacing_words = stated + " " + clean_line(field(header, "DistanceUnits"));
        const auto z = words.size() > 2 ? decimal_number(words[2]) : std::nullopt;
        if (!z) return;
        volume.slice_mm = *z * *unit;
        volume.slice_words =
            "MetaImage spacing of slices, " + clean_line(words[2] + " " + field(header, "DistanceUnits"));
    } else if (x != 1.0 || y != 1.0) {
        volume.spacing_words = stated + " ignored: no unit of length stated";
    }
}

void read_place(const SourceFile& file, const Header& header, RawVolume& volume) {
    const std::string name = field(header, "ElementDataFile");
    const std::string start = split_words(name).empty() ? std::string() : split_words(name)[0];
    volume.several_files = start == "LIST" || name.find('%') != std::string::npos;
    if (volume.several_files) return;
    const bool local = lower(name) == "local";
    volume.data_file = local ? "" : name;
    volume.offset = local ? header.end : 0;
    const std::string skipped = field(header, "HeaderSize");
    if (skipped.empty() || local) return;
    volume.at_end = skipped == "-1";
    const auto skip = volume.at_end ? std::optional<std::uint64_t>(0) : whole_number(skipped);
    if (!skip)
        file.refuse("is a damaged MetaImage: expected a whole number as HeaderSize, got '" +
                    clean_line(skipped) + "'");
    volume.offset = *skip;
}

} // namespace

RawVolume read_meta_image_header(const SourceFile& file) {
    const Header header = read_header(file);
    const std::string object = field(header, "ObjectType");
    if (!object.empty() && object != "Image")
        file.refuse("is a MetaImage header of a '" + clean_line(object) + "', expected an Image");
    RawVolume volume;
    volume.format = "MetaImage";
    volume.samples = sample_format(file, header);
    volume.big_endian = yes(header, "BinaryDataByteOrderMSB") || yes(header, "ElementByteOrderMSB");
    volume.packing = yes(header, "CompressedData") ? Packing::gzip : Packing::none;
    volume.text = !field(header, "BinaryData").empty() && !yes(header, "BinaryData");
    read_dimensions(file, header, volume);
    read_spacing(header, volume);
    read_place(file, header, volume);
    return volume;
}

Radiograph read_meta_image(const SourceFile& file, const LoadLimits& limits, Want want) {
    return read_raw_volume(file, limits, want, read_meta_image_header(file));
}

} // namespace ringwall::files
