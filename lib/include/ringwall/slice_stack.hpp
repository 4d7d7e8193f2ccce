// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/files.hpp"
#include "ringwall/image.hpp"
#include "ringwall/radiograph.hpp"

#include <array>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>

namespace ringwall {

/// Voxel size that the files state, and where it stands in them; mm, x, y, z, all > 0.
struct StatedVoxel {
    std::array<double, 3> voxel_mm{};
    std::string from; ///< for the reader: "MetaImage ElementSpacing"
};

/// What the files of a stack say of themselves. `source.pages` is the number of slices, `source.file` the
/// folder or file as it was given, `source.sha256` stays empty (SliceStack::sha256), `source.scale` too. The
/// range of floats stays 0: only voxels tell it.
struct StackFacts {
    SourceFacts source;
    std::optional<StatedVoxel> voxel;
};

/// A CT volume as ordered slices: opened, checked from its headers, and read slice by slice; never held
/// whole. Values are as stored (rescale slope of DICOM applied). Slice 0 is the first in natural order, the
/// first page, the lowest position along the series' normal.
class SliceStack {
  public:
    class Reader; ///< one a format
    explicit SliceStack(std::unique_ptr<Reader> reader);
    SliceStack(SliceStack&&) noexcept;
    SliceStack& operator=(SliceStack&&) noexcept;
    ~SliceStack();

    [[nodiscard]] const StackFacts& facts() const;
    [[nodiscard]] int width() const { return facts().source.width_px; }
    [[nodiscard]] int height() const { return facts().source.height_px; }
    [[nodiscard]] int slices() const { return facts().source.pages; }
    /// Slice z into `out` (width x height). May be called from several threads at once. Throws Error(input):
    /// the file changed, is damaged there, or holds numbers that are not finite.
    void read_slice(int z, ImageView<float> out) const;
    /// SHA-256 of the files' bytes one after the other in slice order (header before data), lower-case hex.
    /// Reads everything.
    [[nodiscard]] std::string sha256(Watch& watch) const;

  private:
    std::unique_ptr<Reader> reader_;
};

/// Opens a folder of slices, a TIFF of several pages, a raw volume with a text header (MetaImage, NRRD) or a
/// DICOM series. Nothing but headers is read. Throws Error(input), one line, for everything that is not
/// wholly right: slices missing from the numbering, doubled, of another size or kind, a stack cut short,
/// slices of two scans; Error(usage) for a single picture.
SliceStack open_stack(const std::filesystem::path& source, const LoadLimits& limits = {});

} // namespace ringwall
