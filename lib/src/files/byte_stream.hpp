// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "files/source_file.hpp"

#include <memory>

namespace ringwall::files {

/// Bytes in order, as they lie in a file or come out of its compression.
class ByteStream {
  public:
    virtual ~ByteStream() = default;
    /// Fills as much of `out` as there is; less than asked for means the end. Throws Error(input) on damage.
    virtual std::size_t read(std::span<std::byte> out) = 0;
};

enum class Packing { none, gzip, bzip2 };

/// The file's bytes from `offset` on, unpacked. gzip and zlib wrappings are told apart by their first bytes.
std::unique_ptr<ByteStream> open_stream(const SourceFile& file, std::uint64_t offset, Packing packing);

/// Numbers in text, separated by blanks, commas or line ends, handed out as doubles in the machine's byte
/// order.
std::unique_ptr<ByteStream> open_text(const SourceFile& file, std::uint64_t offset);

} // namespace ringwall::files
