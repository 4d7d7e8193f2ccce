// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstring>
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

/// Turns each sample of sizeof(T) bytes round.
template<typename T, typename Turn>
void turn_samples(std::span<std::byte> bytes, Turn turn) {
    for (std::size_t at = 0; at + sizeof(T) <= bytes.size(); at += sizeof(T)) {
        T value;
        std::memcpy(&value, bytes.data() + at, sizeof value);
        value = turn(value);
        std::memcpy(bytes.data() + at, &value, sizeof value);
    }
}

/// Turns each sample of `size` bytes round. The usual sizes go through the compiler's own turn of a word,
/// many at once: a stack in the other byte order is turned at every pass over it.
inline void swap_samples(std::span<std::byte> bytes, std::size_t size) {
    if (size < 2) return;
    if (size == 2)
        return turn_samples<std::uint16_t>(bytes, [](std::uint16_t v) { return __builtin_bswap16(v); });
    if (size == 4)
        return turn_samples<std::uint32_t>(bytes, [](std::uint32_t v) { return __builtin_bswap32(v); });
    if (size == 8)
        return turn_samples<std::uint64_t>(bytes, [](std::uint64_t v) { return __builtin_bswap64(v); });
    for (std::size_t at = 0; at + size <= bytes.size(); at += size)
        std::reverse(bytes.begin() + static_cast<std::ptrdiff_t>(at),
                     bytes.begin() + static_cast<std::ptrdiff_t>(at + size));
}

} // namespace ringwall::files
