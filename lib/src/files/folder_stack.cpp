// SPDX-License-Identifier: Apache-2.0
#include "files/raw_volume.hpp"
#include "files/slice_names.hpp"
#include "files/stack_reader.hpp"
#include "files/tiff_plain.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <map>

namespace ringwall::files {
namespace {

using Path = std::filesystem::path;

[[noreturn]] void refuse(const Path& folder, const std::string& why) {
    throw Error(Fault::input, clean_line(folder.string()) + ": " + why);
}

std::string shown(const Path& file) {
    return clean_line(file.filename().string());
}

/// The plain files of a folder, by kind; what its name hides is the system's or a copy program's.
struct Contents {
    std::map<FileKind, std::vector<Path>> pictures;
    std::vector<Path> others;
};

/// Unknown and unreadable alike: which of them are slices is decided by their names' endings.
FileKind kind_or_unknown(const Path& path) {
    try {
        return kind_of(SourceFile(path));
    } catch (const Error&) {
        return FileKind::unknown;
    }
}

Contents look_into(const Path& folder) {
    Contents found;
    std::error_code failed;
    std::vector<Path> files;
    for (auto entry = std::filesystem::directory_iterator(folder, failed);
         !failed && entry != std::filesystem::directory_iterator(); entry.increment(failed)) {
        std::error_code unknown;
        const std::string name = entry->path().filename().string();
        if (!entry->is_directory(unknown) && !name.starts_with('.')) files.push_back(entry->path());
    }
    if (failed) refuse(folder, "cannot be read: " + failed.message());
    std::sort(files.begin(), files.end());
    for (const Path& file : files) {
        const FileKind kind = file.filename() == "DICOMDIR" ? FileKind::unknown : kind_or_unknown(file);
        (kind == FileKind::unknown ? found.others : found.pictures[kind]).push_back(file);
    }
    return found;
}

bool volume_kind(FileKind kind) {
    return kind == FileKind::meta_image || kind == FileKind::nrrd;
}

/// The kind that most files are of; others that are numbered could be slices too, and are not guessed away.
FileKind slices_kind(const Path& folder, const Contents& contents) {
    FileKind most = FileKind::unknown;
    std::size_t count = 0;
    for (const auto& [kind, files] : contents.pictures)
        if (!volume_kind(kind) && files.size() > count) {
            most = kind;
            count = files.size();
        }
    for (const auto& [kind, files] : contents.pictures) {
        if (volume_kind(kind) && count < 2)
            refuse(folder,
                   "holds the header of a volume, expected slices: name " + shown(files.front()) + " itself");
        if (kind == most || volume_kind(kind)) continue;
        const auto other = std::find_if(files.begin(), files.end(), numbered);
        if (other != files.end())
            refuse(folder, "holds slices of two kinds: " + shown(contents.pictures.at(most).front()) +
                               " and " + shown(*other));
    }
    if (count == 0) refuse(folder, "holds no slices, expected TIFF, PNG, JPEG, BMP or DICOM pictures");
    if (count == 1)
        refuse(folder, "holds one picture, " + shown(contents.pictures.at(most).front()) +
                           ", expected a slice stack of at least two");
    return most;
}

/// What is left out is said; a file that is named like the slices is one, and a damaged one is named.
std::vector<std::string> note_others(const Contents& contents, FileKind kind) {
    std::vector<Path> left;
    const std::string ending = lower(contents.pictures.at(kind).front().extension().string());
    for (const Path& file : contents.others) {
        const bool like_a_slice = !ending.empty() && lower(file.extension().string()) == ending;
        if (like_a_slice) refuse_unknown(SourceFile(file));
        left.push_back(file);
    }
    for (const auto& [other, files] : contents.pictures)
        if (other != kind) left.insert(left.end(), files.begin(), files.end());
    if (left.empty()) return {};
    constexpr std::size_t most_named = 3;
    std::string names;
    for (std::size_t i = 0; i < std::min(left.size(), most_named); ++i)
        names += (i > 0 ? ", " : "") + shown(left[i]);
    return {std::to_string(left.size()) + (left.size() == 1 ? " file that is" : " files that are") +
            " no slice left out: " + names + (left.size() > most_named ? ", ..." : "")};
}

/// A slice's facts, and where its pixels lie when that is plain.
struct Looked {
    SliceFile slice;
    SourceFacts facts;
    SampleFormat format;
    TiffSpacing spacing;
};

Looked look_at(const Path& path, FileKind kind, const LoadLimits& limits, bool first) {
    const SourceFile file(path);
    Looked looked;
    looked.slice = {path, file.size(), file.written_at(), kind, {}, {}};
    looked.facts = reader_of(kind)(file, limits, Want::facts).facts;
    if (looked.facts.pages > 1)
        file.refuse("holds " + std::to_string(looked.facts.pages) +
                    " pages, expected one slice a file in a folder of slices");
    looked.format = {looked.facts.is_float ? SampleKind::floating : SampleKind::unsigned_integer,
                     looked.facts.bits};
    if (kind != FileKind::tiff) return looked;
    TiffHandle tiff(file, limits.memory_bytes);
    const TiffLayout layout = read_tiff_layout(file, tiff);
    looked.format = layout.format;
    looked.slice.runs = plain_tiff_runs(file, tiff, layout, "the picture");
    looked.slice.samples = plain_tiff_samples(tiff, layout);
    if (!first) return looked;
    looked.spacing = tiff_spacing(tiff_description(tiff));
    const SourceFacts with_unit = read_tiff_facts(tiff, layout, looked.spacing.unit_mm);
    looked.facts.scale = with_unit.scale;
    looked.facts.notes = with_unit.notes;
    return looked;
}

std::string kind_words(const SourceFacts& facts, const SampleFormat& format) {
    std::string words = std::to_string(facts.bits) + " bits";
    if (format.kind == SampleKind::floating) words += ", float";
    if (format.kind == SampleKind::signed_integer) words += ", signed";
    if (facts.colour) words += ", colour";
    if (facts.inverted_scale) words += ", minimum is white";
    return words;
}

void check_same(const Path& folder, const Looked& first, const Looked& other) {
    const SourceFacts &a = first.facts, &b = other.facts;
    const std::string one = shown(first.slice.path), two = shown(other.slice.path);
    if (a.width_px != b.width_px || a.height_px != b.height_px)
        refuse(folder, "holds slices of two sizes: " + one + " has " + std::to_string(a.width_px) + " x " +
                           std::to_string(a.height_px) + " pixels, " + two + " " +
                           std::to_string(b.width_px) + " x " + std::to_string(b.height_px));
    const std::string kind = kind_words(a, first.format), other_kind = kind_words(b, other.format);
    if (kind != other_kind)
        refuse(folder, "holds slices of two kinds: " + one + " has " + kind + ", " + two + " " + other_kind);
}

/// A scale that changes from slice to slice tells two scans apart. Only where both state one in the same way.
void check_same_scale(const Path& folder, const Looked& first, const Looked& other) {
    const auto &a = first.facts.scale, &b = other.facts.scale;
    if (!a || !b || a->pixel_xy_mm == b->pixel_xy_mm || first.spacing.unit_mm) return;
    refuse(folder, "holds slices of two scales: " + shown(first.slice.path) + " states " + a->from + ", " +
                       shown(other.slice.path) + " " + b->from);
}

} // namespace

StackReader open_folder_stack(const Path& folder, const LoadLimits& limits) {
    Contents contents = look_into(folder);
    const FileKind kind = slices_kind(folder, contents);
    std::vector<std::string> notes = note_others(contents, kind);
    if (kind == FileKind::dicom)
        return open_dicom_series(folder, contents.pictures.at(kind), limits, std::move(notes));
    const std::vector<Path> ordered = in_natural_order(folder, contents.pictures.at(kind), notes);
    const Looked first = look_at(ordered.front(), kind, limits, true);
    StackFacts facts;
    facts.source = first.facts;
    facts.source.file = folder.string();
    facts.source.pages = static_cast<int>(ordered.size());
    std::vector<SliceFile> slices;
    slices.reserve(ordered.size());
    for (const Path& path : ordered) {
        Looked looked = look_at(path, kind, limits, false);
        check_same(folder, first, looked);
        check_same_scale(folder, first, looked);
        facts.source.lossy = facts.source.lossy || looked.facts.lossy;
        slices.push_back(std::move(looked.slice));
    }
    note_digits(facts.source, first.format);
    settle_voxel(facts, first.spacing.slice_mm, first.spacing.words);
    facts.source.notes.insert(facts.source.notes.end(), notes.begin(), notes.end());
    return make_file_stack(std::move(slices), std::move(facts), limits);
}

} // namespace ringwall::files
