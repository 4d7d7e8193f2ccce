// SPDX-License-Identifier: Apache-2.0
// Format: "Definition of NRRD File Format", teem.sourceforge.net/nrrd/format.html.
#include "files/raw_volume.hpp"

#include <algorithm>
#include <cmath>
#include <map>

namespace ringwall::files {
namespace {

struct Header {
    std::map<std::string, std::string> fields;
    std::size_t end = 0; ///< first byte behind the header
};

/// Field names are written with and without blanks.
std::string plain_name(std::string_view name) {
    std::string result;
    for (const char c : lower(trim(name)))
        if (c != ' ') result += c;
    return result;
}

/// "field: value" lines up to an empty line or, in a header of its own, the end of the file.
Header read_header(const SourceFile& file) {
    const std::string text = header_text(file);
    Header header;
    std::size_t at = text.find('\n');
    at = at == std::string::npos ? text.size() : at + 1; // the format's name and version
    while (at < text.size()) {
        const std::size_t end = std::min(text.find('\n', at), text.size());
        const std::string_view line = trim(std::string_view(text).substr(at, end - at));
        at = end + 1;
        header.end = std::min(at, text.size());
        if (line.empty()) return header;
        if (line[0] == '#') continue;
        const std::size_t sign = line.find(':');
        if (sign == std::string_view::npos)
            file.refuse("is a damaged NRRD: expected 'field: value', got '" + clean_line(std::string(line)) +
                        "'");
        if (sign + 1 < line.size() && line[sign + 1] == '=') continue; // somebody's own remark
        header.fields[plain_name(line.substr(0, sign))] = trim(line.substr(sign + 1));
    }
    if (file.size() > text.size()) file.refuse("is a damaged NRRD: its header does not end");
    return header;
}

std::string field(const Header& header, const std::string& name) {
    const auto found = header.fields.find(name);
    return found == header.fields.end() ? std::string() : found->second;
}

SampleFormat sample_format(const SourceFile& file, const Header& header) {
    static const std::map<std::string, SampleFormat> kinds = [] {
        std::map<std::string, SampleFormat> all = {{"float", {SampleKind::floating, 32}},
                                                   {"double", {SampleKind::floating, 64}}};
        const auto add = [&](SampleFormat format, std::initializer_list<const char*> names) {
            for (const char* name : names)
                all[name] = format;
        };
        add({SampleKind::signed_integer, 8}, {"signed char", "int8", "int8_t"});
        add({SampleKind::unsigned_integer, 8}, {"uchar", "unsigned char", "uint8", "uint8_t"});
        add({SampleKind::signed_integer, 16},
            {"short", "short int", "signed short", "signed short int", "int16", "int16_t"});
        add({SampleKind::unsigned_integer, 16},
            {"ushort", "unsigned short", "unsigned short int", "uint16", "uint16_t"});
        add({SampleKind::signed_integer, 32}, {"int", "signed int", "int32", "int32_t"});
        add({SampleKind::unsigned_integer, 32}, {"uint", "unsigned int", "uint32", "uint32_t"});
        add({SampleKind::signed_integer, 64}, {"longlong", "long long", "long long int", "signed long long",
                                               "signed long long int", "int64", "int64_t"});
        add({SampleKind::unsigned_integer, 64},
            {"ulonglong", "unsigned long long", "unsigned long long int", "uint64", "uint64_t"});
        return all;
    }();
    const auto found = kinds.find(lower(field(header, "type")));
    if (found == kinds.end())
        file.refuse("has the sample type '" + clean_line(field(header, "type")) +
                    "', expected a plain number like uint16");
    return found->second;
}

/// Which axis of the array is the picture's x; one before it holds the channels.
std::size_t read_axes(const SourceFile& file, const Header& header, RawVolume& volume) {
    const auto sizes = split_words(field(header, "sizes"));
    const auto count = whole_number(field(header, "dimension"));
    if (!count || *count != sizes.size() || sizes.empty() || sizes.size() > 16)
        file.refuse("is a damaged NRRD: dimension and sizes do not agree");
    for (const auto& size : sizes) {
        const auto value = whole_number(size);
        if (!value)
            file.refuse("is a damaged NRRD: expected whole numbers as sizes, got '" + clean_line(size) + "'");
        volume.size.push_back(*value);
    }
    const auto kinds = split_words(field(header, "kinds"));
    const std::string kind = kinds.empty() ? std::string() : lower(kinds[0]);
    const bool channels = kind == "rgb-color" || kind == "rgba-color" || kind == "3-color" ||
                          kind == "4-color" || kind == "scalar" || kind == "stub" || kind == "vector" ||
                          kind == "list" || kind == "point" || kind == "complex";
    if (!channels || volume.size.size() < 3) return 0;
    volume.channels = volume.size[0];
    volume.size.erase(volume.size.begin());
    return 1;
}

/// The numbers of a vector "(a,b,c)"; none when it is not one.
std::vector<double> vector_numbers(std::string_view words) {
    if (words.size() < 2 || words.front() != '(' || words.back() != ')') return {};
    std::vector<double> numbers;
    std::string part;
    for (const char c : std::string(words.substr(1, words.size() - 2)) + ',') {
        if (c != ',') {
            part += c;
            continue;
        }
        const auto value = decimal_number(trim(part));
        if (!value) return {};
        numbers.push_back(*value);
        part.clear();
    }
    return numbers;
}

double dot(const std::vector<double>& a, const std::vector<double>& b) {
    double sum = 0;
    for (std::size_t i = 0; i < std::min(a.size(), b.size()); ++i)
        sum += a[i] * b[i];
    return sum;
}

/// Length of a vector; none when it is not one.
std::optional<double> vector_length(std::string_view words) {
    const auto numbers = vector_numbers(words);
    return numbers.empty() ? std::nullopt : std::optional(std::sqrt(dot(numbers, numbers)));
}

std::string unquoted(const std::vector<std::string>& words, std::size_t at) {
    std::string word = at < words.size() ? words[at] : std::string();
    std::erase(word, '"');
    return word;
}

/// Blanks inside a vector would split it.
std::string without_blanks_in_brackets(std::string_view words) {
    std::string result;
    bool inside = false;
    for (const char c : words) {
        if (c == '(') inside = true;
        if (c == ')') inside = false;
        if (!inside || c != ' ') result += c;
    }
    return result;
}

struct AxisSpacing {
    double length = 0;
    std::string unit; ///< empty: none stated
};

/// By a spacing and unit of the axis itself, or by a direction in a space whose axes carry the units (all the
/// same: a vector of mixed units has no plain length).
std::optional<AxisSpacing> axis_spacing(const Header& header, std::size_t axis) {
    const auto directions = split_words(without_blanks_in_brackets(field(header, "spacedirections")));
    const auto spacings = split_words(field(header, "spacings"));
    if (axis < directions.size()) {
        const auto units = split_words(field(header, "spaceunits"));
        const bool same =
            std::all_of(units.begin(), units.end(), [&](const auto& unit) { return unit == units[0]; });
        const auto length = vector_length(directions[axis]);
        return length ? std::optional(AxisSpacing{*length, same ? unquoted(units, 0) : std::string()})
                      : std::nullopt;
    }
    const auto length = axis < spacings.size() ? decimal_number(spacings[axis]) : std::nullopt;
    return length ? std::optional(AxisSpacing{*length, unquoted(split_words(field(header, "units")), axis)})
                  : std::nullopt;
}

/// Axes further from a right angle than the rounding of numbers in text explains.
bool skewed(const Header& header, std::size_t first_axis) {
    const auto words = split_words(without_blanks_in_brackets(field(header, "spacedirections")));
    constexpr double most_cosine = 1e-3;
    for (std::size_t i = first_axis; i < words.size(); ++i)
        for (std::size_t j = i + 1; j < words.size(); ++j) {
            const auto a = vector_numbers(words[i]), b = vector_numbers(words[j]);
            if (std::abs(dot(a, b)) > most_cosine * std::sqrt(dot(a, a) * dot(b, b))) return true;
        }
    return false;
}

std::string words_of(const AxisSpacing& axis) {
    return number(axis.length) + (axis.unit.empty() ? "" : " " + axis.unit);
}

void read_spacing(const Header& header, std::size_t first_axis, RawVolume& volume) {
    volume.skewed = skewed(header, first_axis);
    const auto x = axis_spacing(header, first_axis), y = axis_spacing(header, first_axis + 1),
               z = axis_spacing(header, first_axis + 2);
    if (z) {
        volume.slice_words = clean_line("NRRD spacing of slices, " + words_of(*z));
        if (const auto unit = unit_mm(z->unit))
            volume.slice_mm = z->length * *unit;
        else
            volume.slice_words += " ignored: no unit of length stated";
    }
    if (!x || !y) return;
    volume.spacing_words = clean_line("NRRD spacing, " + words_of(*x) + " x " + words_of(*y));
    const auto x_mm = unit_mm(x->unit), y_mm = unit_mm(y->unit);
    if (x_mm && y_mm)
        volume.spacing_mm = {x->length * *x_mm, y->length * *y_mm};
    else
        volume.spacing_words += " ignored: no unit of length stated";
}

void read_encoding(const SourceFile& file, const Header& header, RawVolume& volume) {
    const std::string encoding = lower(field(header, "encoding"));
    if (encoding == "txt" || encoding == "text" || encoding == "ascii")
        volume.text = true;
    else if (encoding == "gz" || encoding == "gzip")
        volume.packing = Packing::gzip;
    else if (encoding == "bz2" || encoding == "bzip2")
        volume.packing = Packing::bzip2;
    else if (encoding != "raw")
        file.refuse("has the NRRD encoding '" + clean_line(encoding) +
                    "', expected raw, text, gzip or bzip2");
    const std::string endian = lower(field(header, "endian"));
    const bool matters = !volume.text && volume.samples.bits > 8;
    if (matters && endian != "little" && endian != "big")
        file.refuse("is a damaged NRRD: it does not state its byte order");
    volume.big_endian = endian == "big";
}

void read_place(const SourceFile& file, const Header& header, RawVolume& volume) {
    const std::string name = field(header, "datafile");
    volume.several_files = name.find('%') != std::string::npos || lower(name).starts_with("list");
    if (volume.several_files) return;
    volume.data_file = name;
    volume.offset = name.empty() ? header.end : 0;
    const std::string lines = field(header, "lineskip"), bytes = field(header, "byteskip");
    volume.at_end = bytes == "-1";
    const auto line_count = lines.empty() ? std::optional<std::uint64_t>(0) : whole_number(lines);
    const auto byte_count =
        bytes.empty() || volume.at_end ? std::optional<std::uint64_t>(0) : whole_number(bytes);
    if (!line_count || !byte_count)
        file.refuse("is a damaged NRRD: expected whole numbers of lines and bytes to skip");
    volume.skip = *byte_count;
    volume.skip_lines = *line_count;
}

} // namespace

RawVolume read_nrrd_header(const SourceFile& file) {
    const Header header = read_header(file);
    RawVolume volume;
    volume.format = "NRRD";
    volume.samples = sample_format(file, header);
    const std::size_t first_axis = read_axes(file, header, volume);
    read_encoding(file, header, volume);
    read_spacing(header, first_axis, volume);
    read_place(file, header, volume);
    return volume;
}

Radiograph read_nrrd(const SourceFile& file, const LoadLimits& limits, Want want) {
    return read_raw_volume(file, limits, want, read_nrrd_header(file));
}

} // namespace ringwall::files
