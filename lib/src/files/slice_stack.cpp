// SPDX-License-Identifier: Apache-2.0
#include "ringwall/slice_stack.hpp"

#include "files/stack_reader.hpp"

#include "ringwall/error.hpp"

#include <cassert>
#include <cmath>
#include <new>

namespace ringwall {
namespace files {
namespace {

bool is_folder(const std::filesystem::path& path) {
    std::error_code unknown;
    return std::filesystem::is_directory(path, unknown);
}

StackReader open_by_kind(const std::filesystem::path& source, const LoadLimits& limits) {
    if (is_folder(source)) return open_folder_stack(source, limits);
    switch (kind_of(SourceFile(source))) {
    case FileKind::tiff:
        return open_tiff_stack(source, limits);
    case FileKind::meta_image:
        return open_volume_stack(source, limits, false);
    case FileKind::nrrd:
        return open_volume_stack(source, limits, true);
    case FileKind::dicom:
        return open_dicom_frames(source, limits);
    case FileKind::unknown:
        refuse_unknown(SourceFile(source));
    default:
        refuse_single_picture(source);
    }
}

/// Words that the outside world must not see as they are become one line about the source.
template<typename Work>
auto at_the_edge(const std::string& source, Work work) {
    const auto fail = [&](const std::string& why) -> Error {
        return {Fault::input, clean_line(source) + ": " + why};
    };
    try {
        return work();
    } catch (const Error&) {
        throw;
    } catch (const std::bad_alloc&) {
        throw fail("needs more memory than this machine gives");
    } catch (const std::exception& other) {
        // Whatever a decoder throws is the file's fault until shown otherwise.
        throw fail("cannot be decoded: " + clean_line(other.what()));
    }
}

bool all_finite(ImageView<const float> values) {
    for (int y = 0; y < values.height(); ++y) {
        const float* row = values.row(y);
        bool finite = true;
        for (int x = 0; x < values.width(); ++x)
            finite &= std::isfinite(row[x]);
        if (!finite) return false;
    }
    return true;
}

} // namespace
} // namespace files

SliceStack::SliceStack(std::unique_ptr<Reader> reader) : reader_(std::move(reader)) {}
SliceStack::SliceStack(SliceStack&&) noexcept = default;
SliceStack& SliceStack::operator=(SliceStack&&) noexcept = default;
SliceStack::~SliceStack() = default;

const StackFacts& SliceStack::facts() const {
    return reader_->facts();
}

void SliceStack::read_slice(int z, ImageView<float> out) const {
    assert(z >= 0 && z < slices() && out.width() == width() && out.height() == height());
    files::at_the_edge(facts().source.file, [&] { reader_->read(z, out); });
    if (facts().source.is_float && !files::all_finite(out))
        throw Error(Fault::input, files::clean_line(facts().source.file) + ": " +
                                      files::slice_words(z, slices()) +
                                      " holds pixels that are not finite numbers");
}

std::string SliceStack::sha256(Watch& watch) const {
    return files::sha256_of(reader_->files(), watch);
}

SliceStack open_stack(const std::filesystem::path& source, const LoadLimits& limits) {
    return files::at_the_edge(source.string(),
                              [&] { return SliceStack(files::open_by_kind(source, limits)); });
}

} // namespace ringwall
