// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace ringwall::test {

/// Small numbers that look random and are the same on every machine (xorshift64*, Vigna 2016).
class Dice {
  public:
    explicit Dice(std::uint64_t seed) : state_(seed * 0x9E3779B97F4A7C15U + 1) {}
    std::uint64_t next() {
        state_ ^= state_ >> 12;
        state_ ^= state_ << 25;
        state_ ^= state_ >> 27;
        return state_ * 0x2545F4914F6CDD1DU;
    }
    std::size_t below(std::size_t limit) { return static_cast<std::size_t>((next() >> 16) % limit); }

  private:
    std::uint64_t state_;
};

/// The same bytes, damaged: a few bytes changed, numbers pushed to their limits, parts left out, doubled or
/// cut off. Headers are hit more often than pixels, since that is where damage is dangerous.
inline std::vector<unsigned char> mutated(std::vector<unsigned char> bytes, std::uint64_t seed) {
    Dice dice(seed);
    const auto place = [&] {
        const std::size_t reach =
            dice.below(2) == 0 ? bytes.size() : std::min<std::size_t>(bytes.size(), 400);
        const std::size_t at = dice.below(reach);
        return dice.below(4) == 0 ? bytes.size() - 1 - at
                                  : at; // some formats keep their directory at the end
    };
    const std::size_t changes = 1 + dice.below(4);
    for (std::size_t i = 0; i < changes && bytes.size() > 8; ++i) {
        const std::size_t at = place();
        const auto from = bytes.begin() + static_cast<std::ptrdiff_t>(at);
        const std::size_t length = std::min(1 + dice.below(12), bytes.size() - at);
        switch (dice.below(7)) {
        case 0:
            bytes[at] = static_cast<unsigned char>(dice.next() >> 8);
            break;
        case 1:
            bytes[at] ^= static_cast<unsigned char>(1U << dice.below(8));
            break;
        case 2:
            bytes[at] = static_cast<unsigned char>('0' + dice.below(10));
            break;
        case 3:
            std::fill_n(from, std::min<std::size_t>(length, 4), static_cast<unsigned char>(0xFF));
            break;
        case 4:
            std::fill_n(from, std::min<std::size_t>(length, 4), static_cast<unsigned char>(0));
            break;
        case 5:
            bytes.erase(from, from + static_cast<std::ptrdiff_t>(length));
            break;
        default: {
            const std::vector<unsigned char> copy(from, from + static_cast<std::ptrdiff_t>(length));
            bytes.insert(bytes.begin() + static_cast<std::ptrdiff_t>(place()), copy.begin(), copy.end());
        }
        }
    }
    if (dice.below(6) == 0) bytes.resize(1 + dice.below(bytes.size()));
    return bytes;
}

} // namespace ringwall::test
