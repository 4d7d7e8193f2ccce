// SPDX-License-Identifier: Apache-2.0
#include "files/stack_reader.hpp"

#include "ringwall/error.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace ringwall::files {
namespace {

class EvenStack : public SliceStack::Reader {
  public:
    EvenStack(std::unique_ptr<SourceFile> file, std::vector<std::filesystem::path> files,
              std::uint64_t offset, PlainSamples samples, StackFacts facts)
        : file_(std::move(file)), files_(std::move(files)), offset_(offset), samples_(std::move(samples)) {
        facts_ = std::move(facts);
        slice_bytes_ = static_cast<std::uint64_t>(facts_.source.width_px) *
                       static_cast<std::uint64_t>(facts_.source.height_px) * samples_.pixel_bytes();
    }
    void read(int z, ImageView<float> out) const override {
        const ByteRun run{offset_ + static_cast<std::uint64_t>(z) * slice_bytes_, slice_bytes_};
        read_plain(*file_, std::span(&run, 1), samples_, out, slice_words(z, facts_.source.pages));
    }
    [[nodiscard]] std::vector<std::filesystem::path> files() const override { return files_; }

  private:
    std::unique_ptr<SourceFile> file_;
    std::vector<std::filesystem::path> files_;
    std::uint64_t offset_, slice_bytes_;
    PlainSamples samples_;
};

/// Opens a slice's file for each reading: a thousand open files are over what systems allow.
class FileStack : public SliceStack::Reader {
  public:
    FileStack(std::vector<SliceFile> slices, StackFacts facts, const LoadLimits& limits)
        : slices_(std::move(slices)), limits_(limits) {
        facts_ = std::move(facts);
    }
    void read(int z, ImageView<float> out) const override {
        const SliceFile& slice = slices_[static_cast<std::size_t>(z)];
        const SourceFile file(slice.path);
        if (file.size() != slice.size || file.written_at() != slice.written_at)
            file.refuse("has changed since the stack was opened");
        if (!slice.runs.empty())
            return read_plain(file, slice.runs, slice.samples, out, slice_words(z, facts_.source.pages));
        const Radiograph picture = reader_of(slice.kind)(file, limits_, Want::picture);
        if (picture.values.width() != out.width() || picture.values.height() != out.height())
            file.refuse("has changed since the stack was opened");
        for (int y = 0; y < out.height(); ++y)
            std::copy_n(picture.values.view().row(y), out.width(), out.row(y));
    }
    [[nodiscard]] std::vector<std::filesystem::path> files() const override {
        std::vector<std::filesystem::path> paths;
        paths.reserve(slices_.size());
        for (const SliceFile& slice : slices_)
            paths.push_back(slice.path);
        return paths;
    }

  private:
    std::vector<SliceFile> slices_;
    LoadLimits limits_;
};

} // namespace

void refuse_single_picture(const std::filesystem::path& path) {
    throw Error(Fault::usage, path.string() +
                                  ": is a single picture, expected a folder of slices, a TIFF of "
                                  "several pages, a raw volume with its header or a DICOM series");
}

std::string slice_words(int z, int slices) {
    return "slice " + std::to_string(z + 1) + " of " + std::to_string(slices);
}

StackReader make_even_stack(std::unique_ptr<SourceFile> file, std::vector<std::filesystem::path> files,
                            std::uint64_t offset, PlainSamples samples, StackFacts facts) {
    return std::make_unique<EvenStack>(std::move(file), std::move(files), offset, std::move(samples),
                                       std::move(facts));
}

StackReader make_file_stack(std::vector<SliceFile> slices, StackFacts facts, const LoadLimits& limits) {
    return std::make_unique<FileStack>(std::move(slices), std::move(facts), limits);
}

void settle_voxel(StackFacts& facts, std::optional<double> slice_mm, const std::string& stated) {
    const std::optional<StatedScale> plane = std::exchange(facts.source.scale, std::nullopt);
    if (slice_mm && !(std::isfinite(*slice_mm) && *slice_mm > 0)) slice_mm.reset();
    auto& notes = facts.source.notes;
    if (!slice_mm && !stated.empty()) notes.push_back(stated);
    if (plane && slice_mm) {
        const auto [x, y] = plane->pixel_xy_mm;
        facts.voxel = StatedVoxel{{x, y, *slice_mm}, plane->from + "; " + stated};
        constexpr double most_unequal = 1e-3; // rounding of numbers in text
        const double least = std::min({x, y, *slice_mm}), most = std::max({x, y, *slice_mm});
        if (most > least * (1 + most_unequal))
            notes.push_back("the voxels are not cubic: " + number(x) + " x " + number(y) + " x " +
                            number(*slice_mm) + " mm");
    } else if (plane) {
        notes.push_back("voxel size incomplete: the distance of the slices is not stated, only " +
                        number(plane->pixel_xy_mm[0]) + " x " + number(plane->pixel_xy_mm[1]) +
                        " mm in the slice (" + plane->from + ")");
    } else if (slice_mm) {
        notes.push_back("voxel size incomplete: only the distance of the slices is stated, " +
                        number(*slice_mm) + " mm (" + stated + ")");
    } else {
        notes.emplace_back("the files state no voxel size");
    }
}

void note_digits(SourceFacts& facts, const SampleFormat& format) {
    constexpr int digits_of_float = 24;
    const bool is_float = format.kind == SampleKind::floating;
    if (is_float ? format.bits > 32 : format.bits > digits_of_float)
        facts.notes.emplace_back("values of over 24 significant bits are rounded to 24");
}

} // namespace ringwall::files
