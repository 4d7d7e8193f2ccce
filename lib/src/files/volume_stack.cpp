// SPDX-License-Identifier: Apache-2.0
#include "files/bytes.hpp"
#include "files/raw_volume.hpp"
#include "files/stack_reader.hpp"

#include <algorithm>
#include <cmath>

namespace ringwall::files {
namespace {

/// A volume that is packed or written as text cannot be read from its middle: it is unpacked once, at the
/// first reading, and kept as stored.
class PackedStack : public SliceStack::Reader {
  public:
    PackedStack(std::unique_ptr<SourceFile> data, std::vector<std::filesystem::path> files,
                std::uint64_t offset, RawVolume volume, StackFacts facts)
        : data_(std::move(data)), files_(std::move(files)), offset_(offset), volume_(std::move(volume)) {
        facts_ = std::move(facts);
        format_ = volume_.text ? SampleFormat{SampleKind::floating, 64} : volume_.samples;
    }
    void read(int z, ImageView<float> out) const override {
        const std::byte* from = unpacked() + static_cast<std::uint64_t>(z) * slice_bytes();
        RowConverter rows(format_, raw_volume_model(*data_, volume_), static_cast<int>(volume_.channels));
        for (int y = 0; y < out.height(); ++y) {
            rows.interleaved(from, out.width(), out.row(y));
            from += slice_bytes() / static_cast<std::uint64_t>(out.height());
        }
        if (volume_.text) check_text(out);
    }
    [[nodiscard]] std::vector<std::filesystem::path> files() const override { return files_; }

  private:
    [[nodiscard]] std::uint64_t slice_bytes() const {
        return static_cast<std::uint64_t>(facts_.source.width_px) *
               static_cast<std::uint64_t>(facts_.source.height_px) * volume_.channels *
               static_cast<std::uint64_t>(format_.bits / 8);
    }
    const std::byte* unpacked() const {
        const std::lock_guard lock(mutex_);
        if (!bytes_.empty()) return bytes_.data();
        std::vector<std::byte> all(
            static_cast<std::size_t>(slice_bytes() * static_cast<std::uint64_t>(facts_.source.pages)));
        const auto stream = raw_volume_bytes(*data_, offset_, volume_);
        const std::size_t got = stream->read(all);
        if (got != all.size())
            data_->refuse("is cut off within " +
                          slice_words(static_cast<int>(got / slice_bytes()), facts_.source.pages));
        std::byte beyond{}; // reading on makes the decompressor check the sum behind the data
        if (!volume_.text) static_cast<void>(stream->read(std::span(&beyond, 1)));
        if (!volume_.text && PlainSamples::swapped(volume_.big_endian))
            swap_samples(all, static_cast<std::size_t>(format_.bits / 8));
        bytes_ = std::move(all);
        return bytes_.data();
    }
    /// Numbers in text must be what the header says they are.
    void check_text(ImageView<const float> values) const {
        const SourceFacts& facts = facts_.source;
        for (int y = 0; y < values.height(); ++y)
            for (int x = 0; x < values.width(); ++x) {
                const float value = values(x, y);
                const bool fits =
                    facts.is_float ||
                    (value == std::floor(value) && value >= facts.lowest_value && value <= facts.full_scale);
                if (!fits)
                    data_->refuse("holds the voxel " + number(value) + ", expected a " +
                                  std::to_string(facts.bits) + "-bit integer");
            }
    }

    std::unique_ptr<SourceFile> data_;
    std::vector<std::filesystem::path> files_;
    std::uint64_t offset_;
    RawVolume volume_;
    SampleFormat format_;
    mutable std::mutex mutex_;
    mutable std::vector<std::byte> bytes_;
};

void check_axes(const SourceFile& file, const RawVolume& volume) {
    if (volume.several_files)
        file.refuse(
            "spreads its pixels over several files, which is not read; expected one data file, or the "
            "folder of slices instead of this header");
    const bool fourth =
        std::any_of(volume.size.begin() + std::min<std::ptrdiff_t>(3, std::ssize(volume.size)),
                    volume.size.end(), [](std::uint64_t size) { return size > 1; });
    if (fourth) file.refuse("has more than three dimensions, expected x, y and slices");
    if (volume.skewed) file.refuse("has axes that are not at right angles, expected a plain grid of voxels");
}

/// What packed pixels come to must leave most of the memory to the measurement.
void check_packed_size(const SourceFile& file, const RawVolume& volume, const SourceFacts& facts,
                       const LoadLimits& limits) {
    const std::uint64_t sample = static_cast<std::uint64_t>(volume.samples.bits / 8);
    const std::uint64_t bytes = stored_bytes(volume, facts) / sample * (volume.text ? 8 : sample);
    if (bytes > limits.memory_bytes / 4)
        file.refuse(std::string("is ") + (volume.text ? "written as text" : "compressed") +
                    ", which cannot be read slice by slice, and unpacked it takes " +
                    std::to_string(bytes >> 20) + " MB, over a quarter of the memory limit of " +
                    std::to_string(limits.memory_bytes >> 20) + " MB; expected plain voxels");
}

} // namespace

StackReader open_volume_stack(const std::filesystem::path& path, const LoadLimits& limits, bool nrrd) {
    auto header = std::make_unique<SourceFile>(path);
    RawVolume volume = nrrd ? read_nrrd_header(*header) : read_meta_image_header(*header);
    check_axes(*header, volume);
    StackFacts facts;
    facts.source = raw_volume_facts(*header, limits, volume);
    facts.source.file = path.string();
    if (facts.source.pages == 1) refuse_single_picture(path);
    std::vector<std::filesystem::path> files = {path};
    std::unique_ptr<SourceFile> data;
    if (!volume.data_file.empty()) {
        data = std::make_unique<SourceFile>(raw_data_path(*header, volume));
        files.push_back(data->path());
    } else {
        data = std::move(header);
    }
    const std::uint64_t offset = raw_data_offset(*data, volume, facts.source);
    note_digits(facts.source, volume.samples);
    settle_voxel(facts, volume.slice_mm, volume.slice_words);
    if (!volume.plain()) {
        check_packed_size(*data, volume, facts.source, limits);
        facts.source.notes.emplace_back("packed voxels: unpacked once and kept in memory");
        return std::make_unique<PackedStack>(std::move(data), std::move(files), offset, std::move(volume),
                                             std::move(facts));
    }
    PlainSamples samples;
    samples.format = volume.samples;
    samples.model = raw_volume_model(*data, volume);
    samples.channels = static_cast<int>(volume.channels);
    samples.swap = PlainSamples::swapped(volume.big_endian);
    return make_even_stack(std::move(data), std::move(files), offset, std::move(samples), std::move(facts));
}

} // namespace ringwall::files
