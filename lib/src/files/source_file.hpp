// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "ringwall/files.hpp"
#include "ringwall/watch.hpp"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>

namespace ringwall::files {

/// A picture file opened for reading, read by position so that no decoder needs the whole file in memory.
///
/// The file is never mapped: a file cut short by somebody else while we read must end in an error, not in a
/// signal.
class SourceFile {
  public:
    /// Throws Error(input): missing, no plain file, unreadable, empty.
    explicit SourceFile(const std::filesystem::path& path);
    SourceFile(const SourceFile&) = delete;
    SourceFile& operator=(const SourceFile&) = delete;
    ~SourceFile();

    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    [[nodiscard]] std::uint64_t size() const { return size_; }
    /// When the bytes were last written, ns: tells a file that changed between two readings.
    [[nodiscard]] std::int64_t written_at() const { return written_at_; }
    /// Fills `out` from `offset` as far as the file reaches; returns the number of bytes read. Never throws.
    std::size_t read_some(std::uint64_t offset, void* out, std::size_t count) const noexcept;
    /// All of `out`, or false.
    bool read_all(std::uint64_t offset, std::span<std::byte> out) const noexcept;

    /// Throws Error(input): "FILE: why", one clean line.
    [[noreturn]] void refuse(const std::string& why) const;

  private:
    std::filesystem::path path_;
    int descriptor_ = -1;
    std::uint64_t size_ = 0;
    std::int64_t written_at_ = 0;
};

/// Words that came out of a file or a library, made fit for one line: no control characters, at most 200
/// bytes.
std::string clean_line(const std::string& words);

/// SHA-256 of the whole file, lower-case hex.
std::string sha256_of(const SourceFile& file);
/// Of the files' bytes one after the other.
std::string sha256_of(const SourceFile& first, const SourceFile& second);
/// The same for any number of files, opened one at a time; megabytes are told to `watch`. Throws Cancelled.
std::string sha256_of(std::span<const std::filesystem::path> files, Watch& watch);

} // namespace ringwall::files
