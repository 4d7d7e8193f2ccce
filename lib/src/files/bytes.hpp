// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>

namespace ringwall::files {

/// An unsigned number of `size` bytes at `at`; the bytes must be there.
inline std::uint64_t number_at(std::span<const std::byte> bytes, std::size_t at, std::size_t size,
                               bool big_endian = false) {
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < size; ++i)
        value = value << 8 | std::to_integer<std::uint64_t>(bytes[at + (big_endian ? i : size - 1 - i)]);
    return value;
}

/// Turns each sample of `size` bytes round.
inline void swap_samples(std::span<std::byte> bytes, std::size_t size) {
    if (size < 2) return;
    for (std::size_t at = 0; at + size <= bytes.size(); at += size)
        std::reverse(bytes.begin() + static_cast<std::ptrdiff_t>(at),
                     bytes.begin() + static_cast<std::ptrdiff_t>(at + size));
}

} // namespace ringwall::files
