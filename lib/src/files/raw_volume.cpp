// SPDX-License-Identifier: Apache-2.0
#include "files/raw_volume.hpp"

#include "files/bytes.hpp"

#include <bit>
#include <charconv>
#include <cmath>
#include <utility>

namespace ringwall::files {

std::string_view trim(std::string_view words) {
    constexpr std::string_view blanks = " \t\r\n";
    const std::size_t first = words.find_first_not_of(blanks);
    if (first == std::string_view::npos) return {};
    return words.substr(first, words.find_last_not_of(blanks) - first + 1);
}

std::vector<std::string> split_words(std::string_view words) {
    std::vector<std::string> parts;
    std::string part;
    bool quoted = false;
    for (const char c : std::string(words) + ' ') {
        if (c == '"') quoted = !quoted;
        const bool blank = !quoted && (c == ' ' || c == '\t' || c == '\r');
        if (!blank)
            part += c;
        else if (!part.empty())
            parts.push_back(std::exchange(part, {}));
    }
    return parts;
}

std::optional<std::uint64_t> whole_number(std::string_view words) {
    std::uint64_t value = 0;
    const auto parsed = std::from_chars(words.data(), words.data() + words.size(), value);
    if (parsed.ec != std::errc() || parsed.ptr != words.data() + words.size()) return std::nullopt;
    return value;
}

std::optional<double> decimal_number(std::string_view words) {
    double value = 0;
    const auto parsed = std::from_chars(words.data(), words.data() + words.size(), value);
    if (parsed.ec != std::errc() || parsed.ptr != words.data() + words.size() || !std::isfinite(value))
        return std::nullopt;
    return value;
}

std::string lower(std::string_view words) {
    std::string result(words);
    for (char& c : result)
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    return result;
}

std::optional<double> unit_mm(std::string_view unit) {
    const std::string name = lower(trim(unit));
    if (name == "mm" || name == "millimeter" || name == "millimeters" || name == "millimetre") return 1.0;
    const bool micro = name == "um" || name == "\xc2\xb5m" || name == "\xce\xbcm" || name == "\xb5m" ||
                       name == "micron" || name == "microns" || name == "micrometer" ||
                       name == "micrometers" || name == "micrometre";
    if (micro) return 0.001;
    if (name == "nm") return 1e-6;
    if (name == "cm") return 10.0;
    if (name == "m" || name == "meter" || name == "metre") return 1000.0;
    return std::nullopt;
}

std::string header_text(const SourceFile& file) {
    constexpr std::size_t longest = std::size_t{1} << 16;
    std::string text(longest, '\0');
    text.resize(file.read_some(0, text.data(), text.size()));
    return text;
}

namespace {

/// Size in pixels and pages; axes of one sample beyond the second do not count.
void read_size(const SourceFile& file, const RawVolume& volume, const LoadLimits& limits,
               SourceFacts& facts) {
    if (volume.size.size() < 2) file.refuse("has one dimension, expected a picture with two");
    // Unpacked or text pixels pass through small buffers only.
    check_size(file, volume.size[0], volume.size[1], limits,
               32 * std::min(volume.size[0], std::uint64_t{1} << 40));
    std::uint64_t pages = 1;
    for (std::size_t axis = 2; axis < volume.size.size(); ++axis) {
        if (volume.size[axis] == 0 || volume.size[axis] > (std::uint64_t{1} << 30) / pages)
            file.refuse("states a number of slices that makes no sense");
        pages *= volume.size[axis];
    }
    constexpr std::uint64_t most_voxels = std::uint64_t{1} << 50; // their bytes still fit into 64 bits
    if (pages > most_voxels / (volume.size[0] * volume.size[1]))
        file.refuse("states a number of slices that makes no sense");
    facts.width_px = static_cast<int>(volume.size[0]);
    facts.height_px = static_cast<int>(volume.size[1]);
    facts.pages = static_cast<int>(pages);
}

/// The first byte behind `count` lines.
std::uint64_t skip_lines(const SourceFile& data, std::uint64_t offset, std::uint64_t count) {
    std::array<std::byte, 4096> block{};
    while (count > 0) {
        const std::size_t got = data.read_some(offset, block.data(), block.size());
        if (got == 0) data.refuse("is cut off before its pixels");
        std::size_t used = 0;
        while (used < got && count > 0)
            if (block[used++] == std::byte{'\n'}) --count;
        offset += used;
    }
    return offset;
}

void skip_bytes(const SourceFile& data, ByteStream& stream, std::uint64_t count) {
    std::vector<std::byte> waste(std::min<std::uint64_t>(count, 1U << 16));
    while (count > 0) {
        const auto part = std::min<std::uint64_t>(count, waste.size());
        if (stream.read(std::span(waste).first(part)) != part) data.refuse("is cut off before its pixels");
        count -= part;
    }
}

void decode(const SourceFile& data, std::uint64_t offset, const RawVolume& volume, Radiograph& radiograph) {
    const auto stream = raw_volume_bytes(data, offset, volume);
    const SampleFormat format = volume.text ? SampleFormat{SampleKind::floating, 64} : volume.samples;
    const std::size_t sample = static_cast<std::size_t>(format.bits) / 8;
    const bool swap = !volume.text && volume.big_endian != (std::endian::native == std::endian::big);
    Image<float>& picture = radiograph.values;
    RowConverter rows(format, raw_volume_model(data, volume), static_cast<int>(volume.channels));
    std::vector<std::byte> row(static_cast<std::size_t>(picture.width()) * volume.channels * sample);
    for (int y = 0; y < picture.height(); ++y) {
        if (stream->read(row) != row.size())
            data.refuse("is cut off in row " + std::to_string(y + 1) + " of " +
                        std::to_string(picture.height()));
        if (swap) swap_samples(row, sample);
        rows.interleaved(row.data(), picture.width(), picture.view().row(y));
    }
    if (volume.packing != Packing::none) {
        std::byte beyond{}; // reading on makes the decompressor check the sum behind the data
        if (stream->read(std::span(&beyond, 1)) != 0)
            radiograph.facts.notes.emplace_back("bytes behind the picture ignored");
    }
    finish_rows(data, radiograph, rows);
}

/// Numbers in text must be what the header says they are.
void check_text_range(const SourceFile& data, const RawVolume& volume, const Radiograph& radiograph) {
    const SourceFacts& facts = radiograph.facts;
    for (std::size_t i = 0; i < radiograph.values.size(); ++i) {
        const float value = radiograph.values.data()[i];
        if (!std::isfinite(value)) data.refuse("holds pixels that are not finite numbers");
        const bool whole = facts.is_float || value == std::floor(value);
        if (!whole || (!facts.is_float && (value < facts.lowest_value || value > facts.full_scale)))
            data.refuse("holds the pixel " + number(value) + ", expected a " +
                        std::to_string(volume.samples.bits) + "-bit integer");
    }
}

} // namespace

ColourModel raw_volume_model(const SourceFile& file, const RawVolume& volume) {
    if (volume.channels == 1) return ColourModel::grey;
    if (volume.channels != 3 && volume.channels != 4)
        file.refuse("has " + std::to_string(volume.channels) +
                    " channels a pixel, expected 1, or 3 or 4 of colour");
    return ColourModel::rgb;
}

std::filesystem::path raw_data_path(const SourceFile& file, const RawVolume& volume) {
    const std::string& name = volume.data_file;
    const std::filesystem::path stated(name);
    bool below = stated.is_relative();
    for (const auto& part : stated)
        below = below && part != "..";
    if (!below)
        file.refuse("keeps its pixels in '" + clean_line(name) + "', expected a file in its own folder");
    return file.path().parent_path() / stated;
}

std::uint64_t stored_bytes(const RawVolume& volume, const SourceFacts& facts) {
    return static_cast<std::uint64_t>(facts.width_px) * static_cast<std::uint64_t>(facts.height_px) *
           static_cast<std::uint64_t>(facts.pages) * volume.channels *
           static_cast<std::uint64_t>(volume.samples.bits / 8);
}

std::uint64_t raw_data_offset(const SourceFile& data, const RawVolume& volume, SourceFacts& facts) {
    if (volume.offset > data.size()) data.refuse("is cut off before its pixels");
    const std::uint64_t first = skip_lines(data, volume.offset, volume.skip_lines);
    if (!volume.plain()) {
        if (volume.at_end)
            data.refuse("wants its pixels found from the end of the file, which only plain pixels allow");
        return first;
    }
    const std::uint64_t need = stored_bytes(volume, facts),
                        offset =
                            volume.at_end ? data.size() - std::min(need, data.size()) : first + volume.skip;
    if (offset > data.size() || need > data.size() - offset)
        data.refuse("is cut off: its pixels take " + std::to_string(need) + " bytes, got " +
                    std::to_string(data.size() - std::min(offset, data.size())));
    if (data.size() - offset > need)
        facts.notes.push_back(std::to_string(data.size() - offset - need) +
                              " bytes behind the picture ignored");
    return offset;
}

std::unique_ptr<ByteStream> raw_volume_bytes(const SourceFile& data, std::uint64_t offset,
                                             const RawVolume& volume) {
    auto stream = volume.text ? open_text(data, offset) : open_stream(data, offset, volume.packing);
    if (volume.packing != Packing::none) skip_bytes(data, *stream, volume.skip);
    return stream;
}

SourceFacts raw_volume_facts(const SourceFile& file, const LoadLimits& limits, const RawVolume& volume) {
    SourceFacts facts;
    facts.format = volume.format;
    facts.bits = volume.samples.bits;
    facts.is_float = volume.samples.kind == SampleKind::floating;
    facts.lowest_value = lowest_of(volume.samples);
    facts.full_scale = highest_of(volume.samples);
    facts.colour = raw_volume_model(file, volume) != ColourModel::grey;
    if (volume.channels == 4) facts.notes.emplace_back("transparency ignored");
    read_size(file, volume, limits, facts);
    if (volume.spacing_mm)
        take_spacing(facts, *volume.spacing_mm, volume.spacing_words);
    else if (!volume.spacing_words.empty())
        facts.notes.push_back(volume.spacing_words);
    return facts;
}

Radiograph read_raw_volume(const SourceFile& file, const LoadLimits& limits, Want want,
                           const RawVolume& volume) {
    if (volume.several_files)
        file.refuse(
            "spreads its pixels over several files, which is a slice stack, expected one projection picture");
    Radiograph radiograph;
    SourceFacts& facts = radiograph.facts;
    facts = raw_volume_facts(file, limits, volume);
    std::optional<SourceFile> other;
    if (!volume.data_file.empty()) other.emplace(raw_data_path(file, volume));
    const SourceFile& data = other ? *other : file;
    const std::uint64_t offset = raw_data_offset(data, volume, facts);
    facts.sha256 = other ? sha256_of(file, *other) : sha256_of(file);
    if (want == Want::facts) return radiograph;
    check_single_page(file, facts);
    radiograph.values = make_picture(file, facts);
    decode(data, offset, volume, radiograph);
    if (volume.text) check_text_range(data, volume, radiograph);
    return radiograph;
}

} // namespace ringwall::files
