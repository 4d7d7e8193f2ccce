// SPDX-License-Identifier: Apache-2.0
// Order and distance of slices: DICOM PS3.3, C.7.6.2 (image plane: position, orientation, thickness) and
// C.7.3.1 (series). DICONDE (ASTM E2339) uses the same elements.
#include "files/dicom_header.hpp"
#include "files/stack_reader.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace ringwall::files {
namespace {

constexpr DicomTag series_uid = 0x0020000E, instance_number = 0x00200013, image_position = 0x00200032,
                   image_orientation = 0x00200037, slice_thickness = 0x00180050;

using Vector = std::array<double, 3>;

double dot(const Vector& a, const Vector& b) {
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}

Vector cross(const Vector& a, const Vector& b) {
    return {a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]};
}

/// One file of the series, with what puts it in its place.
struct Slice {
    SliceFile file;
    SourceFacts facts;
    DicomLayout layout;
    std::string series;
    std::optional<Vector> position, normal;
    Vector along_row{1, 0, 0};
    std::optional<double> number, thickness_mm;
    std::optional<std::array<double, 2>> spacing_mm;
    double along_normal_mm = 0;
};

std::optional<Vector> position_of(const DicomScan& scan) {
    const auto values = scan.numbers(image_position);
    if (values.size() != 3) return std::nullopt;
    return Vector{values[0], values[1], values[2]};
}

/// Reads rows' and columns' directions; without them the patient's own axes, as for plain axial slices.
void read_orientation(const DicomScan& scan, Slice& slice) {
    const auto v = scan.numbers(image_orientation);
    if (v.size() != 6) {
        slice.normal = Vector{0, 0, 1};
        return;
    }
    slice.along_row = {v[0], v[1], v[2]};
    const Vector normal = cross(slice.along_row, {v[3], v[4], v[5]});
    const double length = std::sqrt(dot(normal, normal));
    if (length > 0.99 && length < 1.01)
        slice.normal = Vector{normal[0] / length, normal[1] / length, normal[2] / length};
}

/// Nothing for a file without pixels: reports and drawn structures lie beside slices.
std::optional<Slice> read_slice_file(const std::filesystem::path& path, const LoadLimits& limits) {
    const SourceFile file(path);
    const DicomScan scan(file, DicomScan::Pixels::optional);
    if (!scan.has_pixels()) return std::nullopt;
    DicomHeader header = read_dicom_header(file, scan, limits);
    if (header.facts.pages > 1)
        file.refuse("holds " + std::to_string(header.facts.pages) +
                    " frames, expected one slice a file in a folder of slices");
    Slice slice;
    slice.file = {path, file.size(), file.written_at(), FileKind::dicom, {}, {}};
    if (auto plain = plain_dicom_samples(scan, header)) {
        slice.file.runs = {{scan.pixels().offset, header.layout.frame_bytes()}};
        slice.file.samples = std::move(*plain);
    }
    slice.layout = header.layout;
    slice.facts = std::move(header.facts);
    slice.series = scan.text(series_uid);
    slice.position = position_of(scan);
    read_orientation(scan, slice);
    slice.spacing_mm = dicom_pixel_spacing(scan);
    const auto number = scan.numbers(instance_number), thickness = scan.numbers(slice_thickness);
    if (!number.empty()) slice.number = number[0];
    if (!thickness.empty()) slice.thickness_mm = thickness[0];
    return slice;
}

[[noreturn]] void refuse(const std::filesystem::path& folder, const std::string& why) {
    throw Error(Fault::input, clean_line(folder.string()) + ": " + why);
}

std::string name(const Slice& slice) {
    return clean_line(slice.file.path.filename().string());
}

std::string size_words(const Slice& slice) {
    return std::to_string(slice.facts.width_px) + " x " + std::to_string(slice.facts.height_px) +
           " pixels of " + std::to_string(slice.facts.bits) + " bits";
}

void check_one_series(const std::filesystem::path& folder, const std::vector<Slice>& slices) {
    const Slice& first = slices.front();
    for (const Slice& other : slices) {
        if (other.series != first.series)
            refuse(folder, "holds slices of two scans: " + name(first) + " is of the series " +
                               clean_line(first.series) + ", " + name(other) + " of " +
                               clean_line(other.series));
        const bool same =
            other.facts.width_px == first.facts.width_px && other.facts.height_px == first.facts.height_px &&
            other.facts.bits == first.facts.bits && other.facts.is_float == first.facts.is_float &&
            other.layout.is_signed == first.layout.is_signed &&
            other.layout.photometric == first.layout.photometric;
        if (!same)
            refuse(folder, "holds slices of two kinds: " + name(first) + " has " + size_words(first) + " (" +
                               clean_line(first.layout.photometric) + "), " + name(other) + " " +
                               size_words(other) + " (" + clean_line(other.layout.photometric) + ")");
        if (other.spacing_mm != first.spacing_mm)
            refuse(folder, "holds slices of two scales: PixelSpacing of " + name(first) + " and " +
                               name(other) + " differ");
    }
}

/// Positions along the common normal; slices shifted sideways against each other make no plain grid.
void place(const std::filesystem::path& folder, std::vector<Slice>& slices) {
    const Slice& first = slices.front();
    constexpr double most_turn = 1e-3;
    for (Slice& slice : slices) {
        const bool parallel = slice.normal && first.normal &&
                              dot(*slice.normal, *first.normal) > 1 - most_turn &&
                              dot(slice.along_row, first.along_row) > 1 - most_turn;
        if (!parallel)
            refuse(folder, "holds slices that are not parallel: " + name(first) + " and " + name(slice));
        slice.along_normal_mm = dot(*slice.position, *first.normal);
    }
    std::sort(slices.begin(), slices.end(), [](const Slice& a, const Slice& b) {
        return a.along_normal_mm != b.along_normal_mm ? a.along_normal_mm < b.along_normal_mm
                                                      : a.file.path < b.file.path;
    });
    const Slice &low = slices.front(), &high = slices.back();
    Vector across{};
    for (std::size_t i = 0; i < 3; ++i)
        across[i] = (*high.position)[i] - (*low.position)[i] -
                    (high.along_normal_mm - low.along_normal_mm) * (*low.normal)[i];
    const double shift = std::sqrt(dot(across, across));
    if (low.spacing_mm && shift > 0.5 * std::min((*low.spacing_mm)[0], (*low.spacing_mm)[1]))
        refuse(folder, "holds slices that are shifted sideways by " + number(shift) + " mm from " +
                           name(low) + " to " + name(high) + ", expected them straight above each other");
}

/// The common distance of the slices. A mean would hide a missing one: each gap is looked at.
double distance_mm(const std::filesystem::path& folder, const std::vector<Slice>& slices) {
    std::vector<double> gaps;
    for (std::size_t i = 1; i < slices.size(); ++i)
        gaps.push_back(slices[i].along_normal_mm - slices[i - 1].along_normal_mm);
    std::vector<double> sorted = gaps;
    std::sort(sorted.begin(), sorted.end());
    const double usual = sorted[sorted.size() / 2];
    constexpr double most_unequal = 0.1; // positions are written with few digits; a missing slice makes 1
    for (std::size_t i = 0; i < gaps.size(); ++i) {
        const std::string between = " between " + name(slices[i]) + " and " + name(slices[i + 1]);
        if (gaps[i] <= 0 || gaps[i] < 0.01 * usual)
            refuse(folder, "holds a slice twice: no distance" + between);
        if (std::abs(gaps[i] - usual) > most_unequal * usual)
            refuse(folder, "has slices at unequal distances: " + number(gaps[i]) + " mm" + between +
                               ", elsewhere " + number(usual) +
                               (gaps[i] > 1.5 * usual ? "; slices are missing there" : ""));
    }
    return (slices.back().along_normal_mm - slices.front().along_normal_mm) /
           static_cast<double>(gaps.size());
}

/// Without positions the numbers of the instances give the order.
void order_by_number(const std::filesystem::path& folder, std::vector<Slice>& slices) {
    for (const Slice& slice : slices)
        if (!slice.number)
            refuse(folder, "holds DICOM slices without a position, and " + name(slice) +
                               " without a number: their order is not known");
    std::sort(slices.begin(), slices.end(), [](const Slice& a, const Slice& b) {
        return *a.number != *b.number ? *a.number < *b.number : a.file.path < b.file.path;
    });
    for (std::size_t i = 1; i < slices.size(); ++i) {
        const double step = *slices[i].number - *slices[i - 1].number;
        const std::string between = name(slices[i - 1]) + " (" + number(*slices[i - 1].number) + ") and " +
                                    name(slices[i]) + " (" + number(*slices[i].number) + ")";
        if (step == 0) refuse(folder, "holds a slice number twice: " + between);
        if (step != 1) refuse(folder, "has gaps in its slice numbers, between " + between);
    }
}

void join_ranges(const std::vector<Slice>& slices, SourceFacts& facts) {
    for (const Slice& slice : slices) { // slices may be rescaled each by its own numbers
        facts.lowest_value = std::min(facts.lowest_value, slice.facts.lowest_value);
        facts.full_scale = std::max(facts.full_scale, slice.facts.full_scale);
        facts.lossy = facts.lossy || slice.facts.lossy;
    }
}

/// Order, voxel size and facts of a checked series.
StackFacts settle(const std::filesystem::path& folder, std::vector<Slice>& slices) {
    const bool placed = std::all_of(slices.begin(), slices.end(),
                                    [](const Slice& slice) { return slice.position.has_value(); });
    if (placed)
        place(folder, slices);
    else
        order_by_number(folder, slices);
    StackFacts facts;
    facts.source = slices.front().facts;
    facts.source.file = folder.string();
    facts.source.pages = static_cast<int>(slices.size());
    join_ranges(slices, facts.source);
    if (placed) {
        // With a position in space the spacing is the slice's own, whatever the class of the picture.
        if (const auto spacing = slices.front().spacing_mm) {
            facts.source.scale = StatedScale{*spacing, "DICOM PixelSpacing"};
            std::erase_if(facts.source.notes,
                          [](const std::string& note) { return note.starts_with("DICOM PixelSpacing"); });
        }
        settle_voxel(facts, distance_mm(folder, slices), "distance of the slices' positions");
        return facts;
    }
    facts.source.notes.emplace_back("the slices have no positions: ordered by their numbers");
    const auto thickness = slices.front().thickness_mm;
    if (thickness)
        facts.source.notes.emplace_back("distance of the slices taken from SliceThickness: nobody says that "
                                        "they neither overlap nor leave gaps");
    settle_voxel(facts, thickness, thickness ? "DICOM SliceThickness" : "");
    return facts;
}

} // namespace

StackReader open_dicom_series(const std::filesystem::path& folder,
                              const std::vector<std::filesystem::path>& files, const LoadLimits& limits,
                              std::vector<std::string> notes) {
    std::vector<Slice> slices;
    slices.reserve(files.size());
    std::size_t others = 0;
    for (const auto& file : files) {
        if (auto slice = read_slice_file(file, limits))
            slices.push_back(std::move(*slice));
        else if (others++ == 0)
            notes.push_back("DICOM files without a picture left out, " +
                            clean_line(file.filename().string()) + " the first of them");
    }
    if (slices.size() < 2)
        refuse(folder,
               "holds " + std::to_string(slices.size()) + " DICOM pictures, expected at least two slices");
    check_one_series(folder, slices);
    StackFacts facts = settle(folder, slices);
    facts.source.notes.insert(facts.source.notes.end(), notes.begin(), notes.end());
    std::vector<SliceFile> in_order;
    in_order.reserve(slices.size());
    for (Slice& slice : slices)
        in_order.push_back(std::move(slice.file));
    return make_file_stack(std::move(in_order), std::move(facts), limits);
}

StackReader open_dicom_frames(const std::filesystem::path& path, const LoadLimits& limits) {
    auto file = std::make_unique<SourceFile>(path);
    const DicomScan scan(*file);
    DicomHeader header = read_dicom_header(*file, scan, limits);
    if (header.facts.pages == 1) refuse_single_picture(path);
    auto samples = plain_dicom_samples(scan, header);
    if (!samples)
        file->refuse(
            "holds " + std::to_string(header.facts.pages) +
            " frames that are compressed or coloured, which are not read; expected plain grey ones, or "
            "one slice a file");
    StackFacts facts;
    facts.source = std::move(header.facts);
    facts.source.file = path.string();
    facts.source.notes.emplace_back("frames taken in the order in which they are stored");
    settle_voxel(facts, std::nullopt, "");
    return make_even_stack(std::move(file), {path}, scan.pixels().offset, std::move(*samples),
                           std::move(facts));
}

} // namespace ringwall::files
