// SPDX-License-Identifier: Apache-2.0
#include "files/stack_reader.hpp"
#include "files/tiff_pages.hpp"
#include "files/tiff_plain.hpp"

#include <algorithm>

namespace ringwall::files {
namespace {

struct Page {
    std::uint64_t directory = 0;
    std::vector<ByteRun> runs; ///< empty: must be decoded
};

/// Pages that the library must decode go through handles of their own, one a thread that is reading.
class HandlePool {
  public:
    HandlePool(const SourceFile& file, std::size_t memory_bytes) : file_(file), memory_bytes_(memory_bytes) {}

    std::unique_ptr<TiffHandle> take() {
        {
            const std::lock_guard lock(mutex_);
            if (!idle_.empty()) {
                auto handle = std::move(idle_.back());
                idle_.pop_back();
                return handle;
            }
        }
        return std::make_unique<TiffHandle>(file_, memory_bytes_);
    }
    /// Only a handle that has seen no damage comes back.
    void give_back(std::unique_ptr<TiffHandle> handle) {
        const std::lock_guard lock(mutex_);
        idle_.push_back(std::move(handle));
    }

  private:
    const SourceFile& file_;
    std::size_t memory_bytes_;
    std::mutex mutex_;
    std::vector<std::unique_ptr<TiffHandle>> idle_;
};

class TiffStack : public SliceStack::Reader {
  public:
    TiffStack(std::unique_ptr<SourceFile> file, std::vector<Page> pages, const TiffLayout& layout,
              PlainSamples samples, StackFacts facts, std::size_t memory_bytes)
        : file_(std::move(file)), pages_(std::move(pages)), layout_(layout), samples_(std::move(samples)),
          handles_(*file_, memory_bytes) {
        facts_ = std::move(facts);
    }
    void read(int z, ImageView<float> out) const override {
        const Page& page = pages_[static_cast<std::size_t>(z)];
        const std::string which = slice_words(z, facts_.source.pages);
        if (!page.runs.empty()) return read_plain(*file_, page.runs, samples_, out, which);
        auto handle = handles_.take();
        handle->go_to_page(page.directory);
        const TiffLayout layout = read_tiff_layout(*file_, *handle);
        const bool same =
            layout == layout_ &&
            handle->tag<std::uint32_t>(TIFFTAG_IMAGEWIDTH, 0) == static_cast<std::uint32_t>(out.width()) &&
            handle->tag<std::uint32_t>(TIFFTAG_IMAGELENGTH, 0) == static_cast<std::uint32_t>(out.height());
        if (!same) file_->refuse("has changed since the stack was opened");
        if (decode_tiff_page(*file_, *handle, layout, out).bad_index())
            file_->refuse("is damaged: pixels of " + which + " name colours that its palette does not hold");
        handles_.give_back(std::move(handle));
    }
    [[nodiscard]] std::vector<std::filesystem::path> files() const override { return {file_->path()}; }

  private:
    std::unique_ptr<SourceFile> file_;
    std::vector<Page> pages_;
    TiffLayout layout_;
    PlainSamples samples_;
    mutable HandlePool handles_;
};

/// Size and kind of the handle's page against those of the first.
void check_same(const SourceFile& file, const TiffHandle& tiff, const TiffLayout& layout,
                const TiffLayout& first, const SourceFacts& facts, const std::string& which) {
    const auto width = tiff.tag<std::uint32_t>(TIFFTAG_IMAGEWIDTH, 0),
               height = tiff.tag<std::uint32_t>(TIFFTAG_IMAGELENGTH, 0);
    if (width != static_cast<std::uint32_t>(facts.width_px) ||
        height != static_cast<std::uint32_t>(facts.height_px))
        file.refuse(which + " has " + std::to_string(width) + " x " + std::to_string(height) +
                    " pixels, expected " + std::to_string(facts.width_px) + " x " +
                    std::to_string(facts.height_px) + " as in slice 1");
    TiffLayout comparable = layout; // how a page is packed is its own affair
    comparable.compression = first.compression;
    comparable.tiled = first.tiled;
    comparable.separate = first.separate;
    if (!(comparable == first))
        file.refuse(which + " has other grey values than slice 1: " + std::to_string(layout.format.bits) +
                    " bits against " + std::to_string(first.format.bits) +
                    ", or another number kind, polarity or colour");
}

std::vector<Page> read_pages(const SourceFile& file, TiffHandle& tiff, const TiffPages& pages,
                             const TiffLayout& first, const SourceFacts& facts) {
    std::vector<Page> found;
    found.reserve(pages.full.size());
    for (const std::uint64_t directory : pages.full) {
        while (TIFFCurrentDirOffset(tiff.get()) != directory)
            tiff.next_page();
        const std::string which = slice_words(static_cast<int>(found.size()), facts.pages);
        const TiffLayout layout = found.empty() ? first : read_tiff_layout(file, tiff);
        check_same(file, tiff, layout, first, facts, which);
        found.push_back({directory, plain_tiff_runs(file, tiff, layout, which)});
        if (!(layout == first) && found.back().runs.empty())
            file.refuse(which + " is packed in another way than slice 1");
    }
    return found;
}

/// Several volumes in one file cannot be told apart by their pages alone. One axis is one volume, whatever
/// its name: stacks are often written with their slices called channels or frames.
void check_description(const SourceFile& file, const std::string& description) {
    std::string axes;
    int counted = 0;
    for (const char* key : {"channels", "slices", "frames"}) {
        const std::string count = described(description, key);
        if (count.empty() || count == "1") continue;
        axes += (counted++ > 0 ? " " : "") + std::string(key) + "=" + count;
    }
    if (counted > 1)
        file.refuse("holds several volumes by its description: " + clean_line(axes) +
                    ", expected one stack of slices");
}

/// Stacks over 4 GB as some programs write them: one directory, the first slice where it says, the others
/// behind that without a word.
StackReader open_single_directory(std::unique_ptr<SourceFile> file, std::uint64_t directory,
                                  std::vector<ByteRun> runs, PlainSamples samples, StackFacts facts) {
    const std::string stated = "its description counts " + std::to_string(facts.source.pages) + " slices";
    if (runs.size() != 1) file->refuse(stated + ", but its one page does not lie plainly in one piece");
    const ByteRun first = runs.front();
    const std::uint64_t end = directory > first.offset ? std::min(directory, file->size()) : file->size();
    const std::uint64_t held = (end - std::min(first.offset, end)) / first.bytes,
                        beyond = (end - std::min(first.offset, end)) % first.bytes;
    if (held != static_cast<std::uint64_t>(facts.source.pages))
        file->refuse("is cut short or damaged: " + stated + ", its length holds " + std::to_string(held));
    if (beyond > 0)
        facts.source.notes.push_back(std::to_string(beyond) + " bytes behind the last slice ignored");
    facts.source.notes.emplace_back("one TIFF page with the further slices as raw data behind it; their "
                                    "count is that of the description and of the file's length");
    std::vector<std::filesystem::path> files = {file->path()};
    return make_even_stack(std::move(file), std::move(files), first.offset, std::move(samples),
                           std::move(facts));
}

} // namespace

StackReader open_tiff_stack(const std::filesystem::path& path, const LoadLimits& limits) {
    auto file = std::make_unique<SourceFile>(path);
    const TiffPages pages = find_tiff_pages(*file);
    TiffHandle tiff(*file, limits.memory_bytes);
    if (pages.full.front() != TIFFCurrentDirOffset(tiff.get())) tiff.go_to_page(pages.full.front());
    const std::string description = tiff_description(tiff);
    const int counted = slices_in_description(description), held = static_cast<int>(pages.full.size());
    if (held == 1 && counted == 1) refuse_single_picture(path);
    const TiffLayout layout = read_tiff_layout(*file, tiff);
    const auto width = tiff.tag<std::uint32_t>(TIFFTAG_IMAGEWIDTH, 0),
               height = tiff.tag<std::uint32_t>(TIFFTAG_IMAGELENGTH, 0);
    check_size(*file, width, height, limits, tiff_working_bytes(tiff, layout));
    check_description(*file, description);
    if (held > 1 && counted > 1 && held != counted)
        file->refuse("is cut short or damaged: its description counts " + std::to_string(counted) +
                     " slices, it holds " + std::to_string(held));

    const TiffSpacing spacing = tiff_spacing(description);
    StackFacts facts;
    facts.source = read_tiff_facts(tiff, layout, spacing.unit_mm);
    facts.source.file = path.string();
    facts.source.width_px = static_cast<int>(width);
    facts.source.height_px = static_cast<int>(height);
    facts.source.pages = std::max(held, counted);
    if (pages.copies > 0)
        facts.source.notes.push_back(std::to_string(pages.copies) +
                                     " reduced copies or masks in the file were passed over");
    note_digits(facts.source, layout.format);
    settle_voxel(facts, spacing.slice_mm, spacing.words);
    PlainSamples samples = plain_tiff_samples(tiff, layout);
    if (held == 1) {
        std::vector<ByteRun> runs = plain_tiff_runs(*file, tiff, layout, slice_words(0, counted));
        return open_single_directory(std::move(file), pages.full.front(), std::move(runs), std::move(samples),
                                     std::move(facts));
    }
    std::vector<Page> found = read_pages(*file, tiff, pages, layout, facts.source);
    return std::make_unique<TiffStack>(std::move(file), std::move(found), layout, std::move(samples),
                                       std::move(facts), limits.memory_bytes);
}

} // namespace ringwall::files
