// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/plain_samples.hpp"
#include "files/readers.hpp"
#include "ringwall/slice_stack.hpp"

#include <mutex>
#include <vector>

namespace ringwall {

/// What a format does for SliceStack. Everything that headers show has been checked when one exists.
class SliceStack::Reader {
  public:
    virtual ~Reader() = default;
    [[nodiscard]] const StackFacts& facts() const { return facts_; }
    /// `out` has the size of a slice and 0 <= z < slices. From several threads at once.
    virtual void read(int z, ImageView<float> out) const = 0;
    /// In slice order, a header before its data; each once.
    [[nodiscard]] virtual std::vector<std::filesystem::path> files() const = 0;

  protected:
    StackFacts facts_;
};

namespace files {

using StackReader = std::unique_ptr<SliceStack::Reader>;

// One a source. Throw Error(input) on anything that is not wholly right, Error(usage) on a single picture.
StackReader open_tiff_stack(const std::filesystem::path& path, const LoadLimits& limits);
StackReader open_volume_stack(const std::filesystem::path& path, const LoadLimits& limits, bool nrrd);
StackReader open_dicom_frames(const std::filesystem::path& path, const LoadLimits& limits);
StackReader open_folder_stack(const std::filesystem::path& path, const LoadLimits& limits);
/// Files of one DICOM series, in any order; names only break no ties.
StackReader open_dicom_series(const std::filesystem::path& folder,
                              const std::vector<std::filesystem::path>& files, const LoadLimits& limits,
                              std::vector<std::string> notes);

/// Throws Error(usage): the file is one picture.
[[noreturn]] void refuse_single_picture(const std::filesystem::path& path);
/// "slice 3 of 9", for people: counted from 1.
std::string slice_words(int z, int slices);

/// Slices of equal size, one behind the other in one file, from `offset` on.
StackReader make_even_stack(std::unique_ptr<SourceFile> file, std::vector<std::filesystem::path> files,
                            std::uint64_t offset, PlainSamples samples, StackFacts facts);

/// One slice, one file.
struct SliceFile {
    std::filesystem::path path;
    std::uint64_t size = 0;
    std::int64_t written_at = 0;
    FileKind kind = FileKind::unknown;
    std::vector<ByteRun>
        runs; ///< where the pixels lie when they lie plainly; else the picture's reader is asked
    PlainSamples samples;
};
StackReader make_file_stack(std::vector<SliceFile> slices, StackFacts facts, const LoadLimits& limits);

/// Moves source.scale and the distance of the slices into `voxel` when both are there; else a note says what
/// is missing. `stated` says where the distance stands; without a distance it becomes a note.
void settle_voxel(StackFacts& facts, std::optional<double> slice_mm, const std::string& stated);

/// A note for samples that hold more digits than the floats they become.
void note_digits(SourceFacts& facts, const SampleFormat& format);

} // namespace files
} // namespace ringwall
