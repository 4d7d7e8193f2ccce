// SPDX-License-Identifier: Apache-2.0
#include "files/plain_samples.hpp"

#include "files/bytes.hpp"

#include <bit>
#include <memory>

namespace ringwall::files {
namespace {

/// The bytes of several runs as if they lay in one piece.
class RunBytes {
  public:
    RunBytes(const SourceFile& file, std::span<const ByteRun> runs, const std::string& which)
        : file_(file), runs_(runs), which_(which) {}

    void read(std::span<std::byte> out) {
        while (!out.empty()) {
            if (runs_.empty()) cut_off();
            const ByteRun& run = runs_.front();
            const auto part =
                static_cast<std::size_t>(std::min<std::uint64_t>(run.bytes - used_, out.size()));
            if (!file_.read_all(run.offset + used_, out.first(part))) cut_off();
            out = out.subspan(part);
            used_ += part;
            if (used_ < run.bytes) continue;
            runs_ = runs_.subspan(1);
            used_ = 0;
        }
    }

  private:
    [[noreturn]] void cut_off() const { file_.refuse("is cut off within " + which_); }

    const SourceFile& file_;
    std::span<const ByteRun> runs_;
    const std::string& which_;
    std::uint64_t used_ = 0;
};

} // namespace

bool PlainSamples::swapped(bool file_is_big_endian) {
    return file_is_big_endian != (std::endian::native == std::endian::big);
}

void read_plain(const SourceFile& file, std::span<const ByteRun> runs, const PlainSamples& samples,
                ImageView<float> out, const std::string& which) {
    constexpr std::size_t block_bytes = std::size_t{1} << 17; // stays in the cache from read to conversion
    const auto row_bytes = static_cast<std::size_t>(out.width()) * samples.pixel_bytes();
    const auto sample_bytes = static_cast<std::size_t>(samples.format.bits / 8);
    const int rows_at_once =
        static_cast<int>(std::clamp<std::size_t>(block_bytes / std::max<std::size_t>(row_bytes, 1), 1,
                                                 static_cast<std::size_t>(std::max(out.height(), 1))));
    const std::size_t size = row_bytes * static_cast<std::size_t>(rows_at_once);
    const auto block = std::make_unique_for_overwrite<std::byte[]>(size);
    RunBytes bytes(file, runs, which);
    RowConverter rows(samples.format, samples.model, samples.channels);
    for (int y = 0; y < out.height(); y += rows_at_once) {
        const int here = std::min(rows_at_once, out.height() - y);
        const std::span part(block.get(), row_bytes * static_cast<std::size_t>(here));
        bytes.read(part);
        if (samples.swap) swap_samples(part, sample_bytes);
        if (samples.tidy) samples.tidy(part);
        for (int row = 0; row < here; ++row)
            rows.interleaved(part.data() + row_bytes * static_cast<std::size_t>(row), out.width(),
                             out.row(y + row));
    }
    rescale(out, samples.slope, samples.intercept);
}

void rescale(ImageView<float> values, double slope, double intercept) {
    if (slope == 1 && intercept == 0) return;
    for (int y = 0; y < values.height(); ++y) {
        float* row = values.row(y);
        for (int x = 0; x < values.width(); ++x)
            row[x] = static_cast<float>(static_cast<double>(row[x]) * slope + intercept);
    }
}

} // namespace ringwall::files
