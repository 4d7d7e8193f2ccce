// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace ringwall {

/// A prefix code as deflate writes it (RFC 1951, 3.2.2).
struct HuffmanCode {
    std::vector<std::uint8_t> lengths; ///< bits of each symbol, 0: does not occur
    std::vector<std::uint16_t> words;  ///< first bit lowest
};

/// The code with the fewest bits for symbols that occur `counts` times, none longer than `longest` (1 to 15;
/// where the bound bites, nearly the fewest). All words are used up when two symbols or more occur; one alone
/// has one bit. Same counts, same code.
HuffmanCode huffman_code(std::span<const std::uint32_t> counts, int longest);

} // namespace ringwall
