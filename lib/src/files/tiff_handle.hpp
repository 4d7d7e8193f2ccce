// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/source_file.hpp"

#include <memory>
#include <string>
#include <tiffio.h>

namespace ringwall::files {

/// An open TIFF whose library reads through SourceFile and whose messages land in this object, never on a
/// stream.
class TiffHandle {
  public:
    /// Opens the first page. Throws Error(input).
    TiffHandle(const SourceFile& file, std::size_t memory_bytes);
    TiffHandle(const TiffHandle&) = delete;
    TiffHandle& operator=(const TiffHandle&) = delete;
    ~TiffHandle();

    [[nodiscard]] TIFF* get() const { return tiff_; }
    /// From here on a warning is damage too: while pixels are decoded the library warns of data that ended
    /// early or did not fit and goes on with made-up pixels.
    void start_decoding() { decoding_ = true; }
    /// Moves on to the next page of the chain. Throws Error(input).
    void next_page();
    /// Moves to the page whose directory lies at `offset`. Throws Error(input).
    void go_to_page(std::uint64_t offset);
    /// Throws Error(input) when `worked` is false or a message came in that means damage.
    void check(bool worked) const;

    /// A tag of one number, its default when the file does not hold it.
    template<typename T>
    [[nodiscard]] T tag(std::uint32_t id, T otherwise) const {
        T value{};
        return TIFFGetFieldDefaulted(tiff_, id, &value) == 1 ? value : otherwise;
    }

  private:
    friend struct TiffCalls;
    const SourceFile& file_;
    std::uint64_t position_ = 0;
    bool decoding_ = false;
    std::string first_message_;
    TIFF* tiff_ = nullptr;
};

} // namespace ringwall::files
